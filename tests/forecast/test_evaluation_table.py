from linkfit.forecast.evaluation import evaluate
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.file import parse_site

SITE = """
[site]
name = "dig <script>"
[plan]
cap = "20 GB"
[[service]]
name = "chat \\u202e"
kind = "chat"
users = 2
[[backlog]]
name = "photos"
items = 10
size = "3 MB"
flow = "out"
"""


def test_an_evaluation_lists_tasks_data_and_backlogs():
    link = fit_link(Trace.from_quick_numbers(up_bps=5e6, down_bps=2e7, rtt_s=0.05))
    text = evaluate(parse_site(SITE), link, n_probes=100)._repr_html_()
    assert "<script" not in text
    assert "\u202e" not in text
    for words in ("chat \\u202e: send a picture", "data of a billing cycle", "backlog photos",
                  "within target", "times hold for the busy hour"):  # fmt: skip
        assert words in text


def test_what_was_never_measured_is_said():
    link = fit_link(Trace.from_quick_numbers(down_bps=2e7))
    text = evaluate(parse_site(SITE), link, n_probes=100)._repr_html_()
    assert "up never measured" in text
