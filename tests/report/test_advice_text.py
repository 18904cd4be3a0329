import io

import pytest
from rich.console import Console

from linkfit.advice.change import source_of
from linkfit.forecast.user_limits import MOST_USERS
from linkfit.report.advice_text import (
    advice_text,
    changes_text,
    other_changes_text,
    services_text,
    verdicts_text,
)


def a_task(**other):
    task = {
        "name": "view a photo", "flow": "out", "target_s": 2.0, "p05_s": 0.42, "p50_s": 0.64,
        "p95_s": 2.4, "p95_low_s": 1.9, "p95_high_s": 2.7, "prob_within_target": 0.93,
        "max_users": 5, "meets_target": False, "must_carry": True, "refused": "", "unmeasured": "",
    }  # fmt: skip
    return task | other


def a_service(*tasks, **other):
    service = {
        "name": "finds catalogue", "kind": "photo-library", "verdict": "fits with changes",
        "n_users": 8, "works_throttled": False, "tasks": list(tasks or [a_task()]),
    }  # fmt: skip
    return service | other


DATA = {
    "cap_bytes": 6e10, "p05_bytes": 5e10, "p50_bytes": 7e10, "p95_bytes": 9e10,
    "prob_over_cap": 0.7, "runs_out": {"p05": 20.0, "p50": 26.0, "p95": None},
    "ledger": [{"cause": "add a photo", "service": "finds catalogue", "p05_bytes": 3e10,
                "p50_bytes": 4e10, "p95_bytes": 5e10}],
}  # fmt: skip
BACKLOG = {
    "name": "season photos", "p05_days": 0.5, "p50_days": 3.0, "p95_days": None,
    "binding": "data plan", "prob_by_deadline": 0.9, "prob_by_deadline_low": 0.8,
    "prob_by_deadline_high": 0.95, "refused": "", "unmeasured": "",
}  # fmt: skip
HELD = {"refused_before": False, "refused_after": False}
GAIN = {"measure": "view a photo: time", "unit": "s", "before": 2.4, "after": 0.84, "better": True,
        "within_noise": False, **HELD}  # fmt: skip
CHANGE = {
    "what": "long edge of stored photos", "service": "finds catalogue", "from": "1440 px",
    "to": "720 px", "cost": "less detail",
    "cost_parts": {"quality_loss_frac": 0.25, "effort_h": 0.5, "source": "measured pictures"},
    "gain": [GAIN, GAIN | {"before": 2.41, "after": 2.42, "measure": "too small to show"},
             GAIN | {"measure": "harmed", "better": False, "before": 1.0, "after": 2.0}],
}  # fmt: skip
RATES = {"lower_bound_only": False, "average_s": 10.0}
ANSWER = {
    "n_met": 1, "n_targets": 2, "feasible": False, "changes": [CHANGE], "in_the_way": [],
    "worst_loss_frac": 0.25, "effort_h": 0.5, "cost_points": 3.0, "money": 0.0, "money_once": 0.0,
}  # fmt: skip
WHY = {"finds catalogue": {"why": "as it is, misses its target: view a photo",
                           "open_directions": [], "measure": []}}  # fmt: skip
SEARCH = {"exhausted": True, "n_evaluations": 9, "gap_frac": 0.0, "n_cut_short": 0,
          "time_limit_s": 2.0}  # fmt: skip
RECORD = {
    "site": "Kestrel Ridge",
    "what_if": [],
    "answers": {"cheapest": ANSWER, "quality_kept": ANSWER, "cost_against_targets": [ANSWER],
                "offered": []},
    "currency": "EUR", "timezone": "UTC", "plan_easing": None,
    "link": {"up": {"p05_bps": 2.6e6, "p50_bps": 5.5e6, **RATES},
             "down": {"p05_bps": None, "p50_bps": None, **RATES}},
    "services": [a_service()], "verdict_reasons": WHY, "plan_reason": "", "hours_up": "",
    "changes": [CHANGE],
    "data": DATA, "backlogs": [BACKLOG],
    "targets": [
        {"measure": "view a photo", "unit": "s", "target": 2.0, "target_after": 2.0,
         "before": 2.4, "after": 0.84,
         "met_after": True, **HELD},
        {"measure": "season photos in time", "unit": "probability", "target": 0.95,
         "target_after": 0.95,
         "before": 0.9, "after": 0.91, "met_after": False, **HELD},
    ],
    "other_changes": [
        {"what": "lifetime in the browser cache", "service": "finds catalogue", "from": "60 min",
         "to": "30 days", "cost": "an old copy may be seen", "gain": [GAIN]},
    ],
    "feasible": False, "in_the_way": ["season photos: 91 %, wanted 95 %"],
    "search": SEARCH, "missing": ["the link between 22:00 and 06:30"],
    "notes": ["a note"], "cautions": ["not for alarms"],
}  # fmt: skip


def shown(parts, width=80):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in parts:
        console.print(part)
    return out.getvalue()


def words(text):
    return " ".join(text.split())


@pytest.mark.parametrize("width", [80, 60, 40])
def test_everything_a_person_needs_is_there_at_any_width(width):
    text = shown(advice_text(RECORD), width)
    assert max(map(len, text.splitlines())) <= width
    for part in (
        "link up (server to internet), averages of 10 s: 5.50 Mbit/s half of the time, 2.60",
        "link down (internet to server): never measured",
        "Such averages swing less than the single seconds that linkfit fit shows",
        "finds catalogue (photo-library, 8 users): fits with changes",
        "420 ms", "640 ms", "2.4 s", "(1.9 to 2.7 s)", "2.0 s", "93 %",
        "- misses its target: view a photo",
        "1. finds catalogue: long edge of stored photos: 1440 px -> 720 px",
        "- view a photo: time: 2.4 s -> 840 ms",
        "- harmed: 1.0 s -> 2.0 s (worse)",
        "- costs: less detail",
        "No setting meets every target. In the way: - season photos: 91 %, wanted 95 %",
        "- 70.0 GB (90 %: 50.0 to 90.0 GB) in a billing cycle",
        "- the cap is 60.0 GB; chance to use more: 70 %",
        "- runs out after: 26 days (90 %: 20 days to never)",
        "40.0 GB", "data plan", "never",
        "- the link between 22:00 and 06:30", "- a note", "- not for alarms",
    ):  # fmt: skip
        assert part in words(text), part
    assert "too small to show" not in text


def test_the_short_answer_names_every_service_once():
    why = WHY | {"backup": {"why": "with all changes: too slow", "open_directions": [],
                            "measure": []}}  # fmt: skip
    services = [a_service(), a_service(name="backup", verdict="does not fit")]
    text = shown(verdicts_text(services, why), 120)
    rows = [
        [cell.strip() for cell in line.split("  ") if cell.strip()]
        for line in text.splitlines()[3:]
    ]
    assert rows == [
        ["finds catalogue", "fits with changes", "as it is, misses its target: view a photo"],
        ["backup", "does not fit", "with all changes: too slow"],
    ]


def test_what_would_settle_an_open_verdict_stands_below_it():
    missing = "upload was measured on 3 days: cover 7"
    wall = {"why": "open", "open_directions": ["up"], "measure": [missing, "more"]}
    service = [a_service(name="wall", verdict="not enough data")]
    text = words(shown(verdicts_text(service, {"wall": wall})))
    assert (
        f"- what would settle wall: {missing}; when and how often: linkfit plan-tests LINK" in text
    )
    unknown = {"wall": wall | {"measure": []}}
    assert "more tests on more days" in words(shown(verdicts_text(service, unknown)))
    both = [*service, a_service(name="shop", verdict="not enough data")]
    text = words(shown(verdicts_text(both, {"wall": wall, "shop": wall})))
    assert f"- what would settle wall, shop: {missing};" in text
    here = words(shown(verdicts_text(service, {"wall": wall}, timezone="Europe/Lisbon")))
    assert here.endswith("linkfit plan-tests LINK --timezone Europe/Lisbon")


def test_a_target_missed_by_little_is_shown_with_the_digits_that_tell():
    held = {"target": 4.0, "target_after": 4.0}
    near = RECORD["targets"][0] | held | {"after": 4.03, "met_after": False}
    text = words(shown(advice_text(RECORD | {"targets": [near]})))
    assert "view a photo 4.0 s 2.4 s 4.03 s NO" in text


def test_a_target_that_the_changes_move_is_shown_before_and_after():
    plan = {"measure": "data in a cycle", "unit": "bytes", "target": 6e10, "target_after": 1e11,
            "before": 1.2e11, "after": 1.001e11, "met_after": False, **HELD}  # fmt: skip
    lines = shown(advice_text(RECORD | {"targets": [plan]})).splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("data in a cycle"))
    assert lines[at].split() == [
        "data",
        "in",
        "a",
        "cycle",
        "60.0",
        "GB",
        "120",
        "GB",
        "100.1",
        "GB",
        "NO",
    ]
    assert lines[at + 1].split() == ["then", "100", "GB"]


def test_a_change_tells_its_cost_in_parts_with_their_source():
    text = words(shown(changes_text([CHANGE])))
    assert "- costs: less detail (25 % of quality, 0.5 h of work; measured pictures)" in text
    lossless = CHANGE["cost_parts"] | {"quality_loss_frac": 0.0, "source": source_of("RFC 9111")}
    text = words(shown(changes_text([CHANGE | {"cost_parts": lossless}])))
    assert "- costs: less detail (0.5 h of work; RFC 9111)" in text
    judged = lossless | {"source": "common practice"}  # said once, above them all
    text = words(shown(changes_text([CHANGE | {"cost_parts": judged}])))
    assert "- costs: less detail (0.5 h of work)" in text
    assert text.count("judged by common practice") == 1


def test_the_answer_comes_before_what_it_rests_on():
    text = shown(advice_text(RECORD))
    titles = ("Verdicts", "Targets, all", "Changes, each", "Answers to", "Services at",
              "Also tried", "Data use")  # fmt: skip
    places = [text.index(title) for title in titles]
    assert places == sorted(places)


def test_a_limit_at_the_end_of_the_search_is_at_least_that():
    assert "200+" in shown(services_text([a_service(a_task(max_users=MOST_USERS), n_users=1)]))


def test_a_verdict_is_a_word_so_that_no_colour_is_needed():
    for verdict in ("fits", "fits with changes", "does not fit", "not enough data"):
        assert f": {verdict}\n" in shown(services_text([a_service(verdict=verdict)]))


def test_a_task_that_the_path_refuses_says_why():
    refused = a_task(refused="61 % of its requests exceed 100 MB", p95_s=None, p95_high_s=None)
    text = words(shown(services_text([a_service(refused)])))
    assert "view a photo cannot be carried: 61 % of its requests exceed 100 MB" in text
    assert "(1.9 s to never)" in text
    assert "misses its target:" not in text


def test_a_task_without_a_target_has_no_target_chance_or_room():
    task = a_task(target_s=None, prob_within_target=None, max_users=None, meets_target=True)
    text = shown(services_text([a_service(task, works_throttled=None)]), 30)
    assert "  target:" not in text
    assert "  users:" not in text
    assert "misses" not in text


def test_a_search_that_was_cut_short_does_not_claim_that_no_setting_exists():
    text = shown(advice_text(RECORD | {"search": SEARCH | {"exhausted": False}}))
    assert "No setting that was tried meets every target." in words(text)


def test_a_site_without_changes_services_or_backlogs_is_short():
    bare = {
        "services": [],
        "changes": [],
        "backlogs": [],
        "targets": [],
        "verdict_reasons": {},
        "missing": [],
        "notes": [],
    }
    text = shown(advice_text(RECORD | bare | {"feasible": True}))
    for title in ("Services", "Changes", "Targets", "Backlogs", "Not measured", "Notes"):
        assert title not in text


def test_why_services_end_with_the_plan_stands_once_below_the_verdicts():
    text = shown(advice_text(RECORD | {"plan_reason": "ends with the data plan: it runs out"}))
    assert text.count("- ends with the data plan: it runs out") == 1
    assert text.index("Verdicts") < text.index("- ends with the data plan") < text.index("Targets")


def test_the_hours_that_verdicts_hold_for_stand_below_them():
    text = shown(advice_text(RECORD | {"hours_up": "the server is up for 4.8 h a day"}))
    assert text.count("- the server is up for 4.8 h a day") == 1


def test_hostile_names_are_harmless_everywhere():
    bad = "\x1b]0;x\x07[red]\u202e"
    record = RECORD | {
        "site": bad, "services": [a_service(a_task(name=bad, refused=bad), name=bad, kind=bad)],
        "backlogs": [BACKLOG | {"name": bad}], "changes": [CHANGE | {"what": bad, "cost": bad}],
        "missing": [bad], "in_the_way": [bad],
        "verdict_reasons": {bad: {"why": bad, "open_directions": ["up"], "measure": [bad]}},
        "data": DATA | {"ledger": [DATA["ledger"][0] | {"cause": bad, "service": bad}]},
    }  # fmt: skip
    for width in (80, 40):
        text = shown(advice_text(record), width)
        assert not {"\x1b", "\x07", "\u202e"} & set(text)
        assert "[red]" in text


def test_what_was_tried_and_left_out_is_shown_with_its_gain_and_cost():
    text = shown(other_changes_text(RECORD["other_changes"]), 200)
    assert "Also tried, left out" in text
    assert "60 min -> 30 days" in text
    assert "2.4 s -> 840 ms" in text
    assert "an old copy may be seen" in text
    many = RECORD["other_changes"] * 9
    assert "and 3 more" in shown(other_changes_text(many), 200)
    assert other_changes_text([]) == []


def test_the_words_that_every_time_shares_are_said_once():
    gain = GAIN | {"measure": "view a photo: time that 19 of 20 stay within"}
    text = shown(changes_text([CHANGE | {"gain": [gain]}]), 200)
    assert text.count("19 of 20") == 1
    assert "view a photo: 2.4 s -> 840 ms" in text


def test_what_crosses_a_direction_never_measured_is_a_question():
    unknown = a_task(unmeasured="down", flow="in", p95_s=None, max_users=None)
    text = shown(services_text([a_service(a_task(), unknown | {"name": "add a photo"})]), 120)
    row = next(line for line in text.splitlines() if line.startswith("add a photo"))
    assert row.split()[-6:] == ["?", "?", "?", "2.0", "s", "?", "?"][-6:]
    assert "nothing is known of add a photo: down was never measured" in text


def test_a_refused_task_says_so_in_its_row():
    refused = a_task(refused="100 % of its requests exceed the path's body limit", max_users=0)
    text = shown(services_text([a_service(refused)]), 120)
    row = next(line for line in text.splitlines() if line.startswith("view a photo"))
    assert "refused" in row


def test_a_link_of_lower_bounds_says_at_least_and_what_the_verdicts_are_worth():
    floor = {"p05_bps": 2e6, "p50_bps": 5e6, "lower_bound_only": True, "average_s": 10.0}
    text = words(shown(advice_text(RECORD | {"link": RECORD["link"] | {"up": floor}})))
    assert "at least 5.00 Mbit/s half of the time, at least 2.00 Mbit/s 19 times out of 20" in text
    assert "Of link up only lower bounds were measured: what fits, fits; what does not may" in text
    assert "lower bounds" not in shown(advice_text(RECORD))


def test_a_task_that_the_path_refuses_is_not_carried_and_never_the_word_for_it():
    gain = GAIN | {"before": None, "after": 1080.0, "refused_before": True}
    record = RECORD | {"changes": [CHANGE | {"gain": [gain]}]}
    record["targets"] = [RECORD["targets"][0] | {"before": None, "refused_before": True}]
    text = words(shown(advice_text(record)))
    assert "view a photo: time: not carried -> 18 min" in text
    assert "view a photo 2.0 s not carried" in text


def test_a_time_that_got_longer_by_no_more_than_noise_is_not_shown():
    worse = GAIN | {"measure": "luck", "before": 3.0, "after": 3.2, "better": False}
    shown_worse = words(shown(advice_text(RECORD | {"changes": [CHANGE | {"gain": [worse]}]})))
    assert "luck: 3.0 s -> 3.2 s (worse)" in shown_worse
    noise = worse | {"within_noise": True}
    assert "luck" not in shown(advice_text(RECORD | {"changes": [CHANGE | {"gain": [noise]}]}))


def test_what_a_little_more_would_bring_stands_with_plan_and_backlogs():
    easing = {"extra_bytes": 1e10, "prob_over_cap": 0.6, "prob_over_cap_low": 0.4,
              "prob_over_cap_high": 0.9, "enough_bytes": 1.21e11, "enough_low_bytes": 9e10,
              "enough_high_bytes": 1.3e11}  # fmt: skip
    sooner = [
        {"what": "10 GB more plan", "constraint": "data plan", "p05_days": 0.0, "p50_days": 1.0,
         "p95_days": 3.0, "done_p50_days": 2.0},
        {"what": "1 Mbit/s more up", "constraint": "rate", "p05_days": 0.0, "p50_days": 0.0,
         "p95_days": 0.001, "done_p50_days": 3.0},
    ]  # fmt: skip
    record = RECORD | {"plan_easing": easing, "backlogs": [BACKLOG | {"sooner": sooner}]}
    text = words(shown(advice_text(record)))
    assert (
        "- 10 GB more plan: chance to use more 60 % (90 %: 40 % to 90 %); a plan of 121 GB "
        "(90 %: 90.0 to 130 GB) would do"
    ) in text
    assert (
        "- season photos, each alone (90 %): 10 GB more plan: 24 h sooner (0 to 3.0 days)" in text
    )
    assert "1 Mbit/s more up" not in text  # a minute and a half is no reason to do anything
    assert "more plan" not in shown(advice_text(RECORD))


def test_a_plan_that_stays_too_small_says_so_without_a_false_interval():
    easing = {"extra_bytes": 1e10, "prob_over_cap": 1.0, "prob_over_cap_low": 1.0,
              "prob_over_cap_high": 1.0, "enough_bytes": 1.21e11, "enough_low_bytes": 9e10,
              "enough_high_bytes": 1.3e11}  # fmt: skip
    text = words(shown(advice_text(RECORD | {"plan_easing": easing})))
    assert "- 10 GB more plan: chance to use more >99 %; a plan of 121 GB" in text
