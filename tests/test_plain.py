from linkfit.plain import harmless
from linkfit.report import plain


def test_reports_know_the_same_function():
    assert plain.harmless is harmless


def test_what_acts_is_spelled_out_and_words_stay():
    assert harmless("a\x1b[31m\u202eb é") == "a\\x1b[31m\\u202eb é"
