"""Figures of closed cases by hand: verdicts with bounds, months, stated probabilities, how it went on, confusions."""

import json

import pytest

from guidance.monitor.checked import ClosedFacts, Shown
from guidance.monitor.figures import BIN_EDGES, figures
from guidance.monitor.shares import Share

COMPONENTS = ("control_box", "actuator")


def confirmed(right: bool | None, stated: float = 0.995, truth: str = "") -> Shown:
    return Shown("actuator", "confirmed", "squeeze_tabs", stated, truth, right)


def case(*shown: Shown, month: str = "2026-11", **facts) -> ClosedFacts:
    return ClosedFacts(month, shown, **facts)


def test_only_what_was_checked_counts_and_the_unchecked_give_the_bounds() -> None:
    cases = [case(confirmed(True))] * 6 + [case(confirmed(False))] * 2 + [case(confirmed(None))] * 12
    found = figures(cases, COMPONENTS)
    (line,) = found.verdicts
    assert (line.about, line.verdict, line.shown, line.right) == ("actuator", "confirmed", 20, Share(6, 8))
    assert (line.least, line.most) == (pytest.approx(6 / 20), pytest.approx(18 / 20))
    assert line.least <= line.right.value <= line.most
    assert (found.cases, found.checked_cases) == (20, 8)
    assert found.confirmed_corrected == Share(2, 8)


def test_verdicts_stand_in_the_order_of_sureness_and_components_before_readings() -> None:
    shown = [
        Shown("battery", "open", "hung_pack"), Shown("battery", "sure", "hung_pack"),
        Shown("actuator", "likely", "none"), confirmed(None), Shown("control_box", "not_seen", ""),
    ]  # fmt: skip
    lines = figures([case(*shown)], COMPONENTS).verdicts
    assert [(line.about, line.verdict) for line in lines] == [
        ("control_box", "not_seen"), ("actuator", "confirmed"), ("actuator", "likely"), ("battery", "sure"),
        ("battery", "open"),
    ]  # fmt: skip


def test_months_count_confirmed_answers_of_each_component() -> None:
    cases = [case(confirmed(False), month="2026-09"), case(confirmed(True)), case(Shown("actuator", "likely", "none"))]
    lines = [line for line in figures(cases, COMPONENTS).months if line.about == "actuator"]
    assert [(line.month, line.shown, line.wrong) for line in lines] == [
        ("2026-09", 1, Share(1, 1)),
        ("2026-11", 1, Share(0, 1)),
    ]


def test_months_count_sure_readings_of_each_concept() -> None:
    def read(verdict: str, right: bool | None) -> Shown:
        return Shown("battery", verdict, "hung_pack", 0.99, "", right)

    cases = [
        case(read("sure", False), month="2026-09"),
        case(read("sure", True), read("open", False)),
        case(read("sure", None)),
        case(confirmed(False)),
    ]
    assert [(line.month, line.about, line.shown, line.wrong) for line in figures(cases, COMPONENTS).reading_months] == [
        ("2026-09", "battery", 1, Share(1, 1)),
        ("2026-11", "battery", 2, Share(0, 1)),
    ]


def test_stated_probabilities_are_held_against_the_share_right() -> None:
    cases = [case(confirmed(n % 2 == 0, 0.99)) for n in range(40)] + [
        case(confirmed(True, 1.0)),
        case(confirmed(True, 0.6)),
    ]
    low, high = figures(cases, COMPONENTS).answers_as_stated
    assert (low.low, low.high, low.right) == (0.5, 0.8, Share(1, 1)) and low.as_stated
    assert (high.low, high.high, high.right) == (0.99, 1.0, Share(21, 41)) and not high.as_stated
    assert high.stated == pytest.approx((40 * 0.99 + 1.0) / 41)


def test_every_probability_has_one_range() -> None:
    stated = [*BIN_EDGES, 0.25, 0.7999999]
    lines = figures([case(*(confirmed(True, p) for p in stated))], COMPONENTS).answers_as_stated
    assert sum(line.right.n for line in lines) == len(stated)


def test_readings_are_kept_apart_from_answers_and_what_has_no_probability_is_left_out() -> None:
    shown = (
        Shown("lowering", "sure", "none", 0.9, "none", True),
        Shown("actuator", "confirmed", "none", None, "", True),
    )
    found = figures([case(*shown)], COMPONENTS)
    assert found.answers_as_stated == () and [line.right for line in found.readings_as_stated] == [Share(1, 1)]


def test_how_it_went_on_counts_the_cases_that_it_concerns() -> None:
    cases = [
        case(photos=2, nothing_found=True, days=2, ordered=1, returned=1), case(photos=1, days=1, ordered=2),
        case(days=1), case(),
    ]  # fmt: skip
    found = figures(cases, COMPONENTS)
    assert (found.came_back, found.second_visit, found.nothing_found) == (Share(1, 2), Share(1, 3), Share(1, 2))


def test_confusions_name_what_was_taken_for_what_most_often_first() -> None:
    cases = [case(confirmed(False, truth="none"))] + [case(confirmed(False, truth="twist_knob"))] * 3
    first, second = figures(cases, COMPONENTS).confusions
    assert (first.value, first.truth, first.times) == ("squeeze_tabs", "twist_knob", 3)
    assert (second.truth, second.times) == ("none", 1)


def test_the_document_is_json_with_an_interval_beside_every_share() -> None:
    document = json.loads(json.dumps(figures([case(confirmed(False))], COMPONENTS).as_dict()))
    assert document["verdicts"][0]["right"]["interval_95"] == pytest.approx([0.0, 0.7935], abs=1e-4)
    assert document["verdicts"][0]["least"] == 0 and document["came_back"]["share"] is None


def test_without_a_case_nothing_is_claimed() -> None:
    found = figures([], COMPONENTS)
    assert found.cases == 0 and found.verdicts == () and found.confirmed_corrected.interval == (0.0, 1.0)
