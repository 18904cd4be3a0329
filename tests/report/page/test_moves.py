from linkfit.report.page.moves import move_text, shown_moves, stand_text, value_text, wanted_text

GAIN = {
    "measure": "camp, open the grid: time that 19 of 20 stay within", "unit": "s", "before": 5.9,
    "after": 2.1, "target": 3.0, "better": True, "within_noise": False, "refused_before": False,
    "refused_after": False,
}  # fmt: skip


def test_a_move_tells_both_ends_in_short():
    assert move_text(GAIN) == "camp, open the grid: 5.9 s to 2.1 s"
    assert move_text(GAIN | {"better": False}).endswith("(worse)")


def test_null_is_never_and_for_a_chance_unknown():
    assert value_text(None, "s") == "never"
    assert value_text(None, "probability") == "unknown"
    assert value_text(0.9, "probability") == "90 %"


def test_what_is_refused_is_said_in_words():
    assert stand_text(GAIN | {"refused_before": True}, "before") == "not carried"
    assert stand_text(GAIN, "target") == "3.0 s"


def test_moves_within_the_noise_or_the_digits_are_left_out():
    noise, same = GAIN | {"within_noise": True}, GAIN | {"after": 5.92}
    assert shown_moves([GAIN, noise, same]) == [GAIN]


def test_a_target_that_the_changes_move_is_told_before_and_after():
    plan = {"unit": "bytes", "target": 6e10, "target_after": 1e11}
    assert wanted_text(plan) == "60 GB, then 100 GB"
    assert wanted_text(plan | {"target_after": 6e10}) == "60 GB"
