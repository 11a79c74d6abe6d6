"""Verdicts on battery readings claim no more than was read."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.errors import ReadingError
from guidance.electricity.physics import (
    Band,
    at_25_c,
    capacity_share,
)
from guidance.electricity.readings import PackReadings
from guidance.electricity.verdict import judge_pack

PROVEN = PackReadings(
    blocks_v=(12.85, 12.83), pack_v=25.68, rest_hours=12, meter_error_percent=0.5, loaded_v=24.4, load_current_a=8
)
"""Everything that is needed to call a pack good."""


def test_a_proven_pack_is_good():
    verdict = judge_pack(PROVEN)
    assert verdict.state == "good" and [block.state for block in verdict.blocks] == ["good", "good"]
    assert verdict.found == {"blocks_high", "load_held"}


@pytest.mark.parametrize("missing", ["blocks_v", "rest_hours", "meter_error_percent", "loaded_v", "load_current_a"])
def test_nothing_missing_yields_good(missing):
    verdict = judge_pack(PROVEN.model_copy(update={missing: () if missing == "blocks_v" else None}))
    assert verdict.state == "cannot_say"
    assert len(verdict.wants) == 1


@pytest.mark.parametrize("rest_hours", [0, 1, 5.9])
def test_too_short_a_rest_never_yields_good(rest_hours):
    verdict = judge_pack(PROVEN.model_copy(update={"rest_hours": rest_hours}))
    assert verdict.state == "cannot_say"
    assert verdict.charge_percent == Band(0, 100)


def test_failed_block_hides_in_the_voltage_of_the_pack():
    """12.65 V + 10.2 V looks like a tired 22.85 V."""
    together = judge_pack(PackReadings(pack_v=22.85, rest_hours=8, meter_error_percent=0.5))
    assert together.state == "cannot_say"
    assert any("each block" in want for want in together.wants)
    apart = judge_pack(PackReadings(blocks_v=(12.65, 10.2), rest_hours=8, meter_error_percent=0.5))
    assert apart.state == "failed"
    assert apart.found == {"one_block_low"}
    assert [block.state for block in apart.blocks] == ["cannot_say", "failed"]


def test_two_low_blocks_are_charged_before_they_are_judged():
    verdict = judge_pack(PackReadings(blocks_v=(11.7, 11.75), rest_hours=8, meter_error_percent=0.5))
    assert verdict.state == "low"
    assert verdict.found == {"blocks_low"}


def test_a_pack_that_sags_under_load_has_failed_whatever_its_gauge_shows():
    verdict = judge_pack(PROVEN.model_copy(update={"loaded_v": 17.5, "gauge_bars_percent": 100}))
    assert verdict.state == "failed"
    assert "load_sagged" in verdict.found


def test_bars_alone_prove_nothing():
    assert judge_pack(PackReadings(gauge_bars_percent=100)).state == "cannot_say"


def test_a_light_load_does_not_test():
    assert judge_pack(PROVEN.model_copy(update={"load_current_a": 0.5})).state == "cannot_say"


def test_contradictions_are_named_and_not_averaged():
    verdict = judge_pack(PROVEN.model_copy(update={"pack_v": 22.0}))
    assert verdict.state == "cannot_say"
    assert "25.68" in verdict.contradictions[0] and "22.00" in verdict.contradictions[0]
    assert "more than" in judge_pack(PROVEN.model_copy(update={"pack_v": None, "loaded_v": 27.5})).contradictions[0]


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        ({"pack_v": -1}, "got -1 V"),
        ({"pack_v": 300}, "got 300 V"),
        ({"pack_v": float("nan")}, "pack voltage"),
        ({"blocks_v": (12.6, 25.0)}, "block 2 voltage"),
        ({"blocks_v": (12.6,)}, "got 1, want 2"),
        ({"loaded_v": 300}, "under load"),
        ({"load_current_a": 500}, "load current"),
        ({"rest_hours": -2}, "rest time"),
        ({"meter_error_percent": -1}, "meter error"),
        ({"gauge_bars_percent": 120}, "gauge"),
        ({"temperature_c": 200}, "temperature"),
        ({"loaded_blocks_v": (12.0,)}, "got 1, want 2"),
        ({"loaded_blocks_v": (12.0, 25.0)}, "block 2 voltage under load"),
    ],
)
def test_impossible_readings_are_refused(reading, says):
    with pytest.raises(ReadingError, match=says):
        judge_pack(PackReadings(**reading))


FULL = {"rest_hours": 12, "meter_error_percent": 0.5}
"""Rested, by a good meter."""


def test_a_sag_that_no_sound_pack_makes_is_not_good():
    """Ohm by hand: (12.85 + 12.83 - 21.3) V / 3 A = 1.46 ohm."""
    verdict = judge_pack(PackReadings(blocks_v=(12.85, 12.83), loaded_v=21.3, load_current_a=3, **FULL))
    assert verdict.state == "failed" and verdict.found == {"blocks_high", "load_sagged"}
    assert verdict.resistance_mohm.low < 1460 < verdict.resistance_mohm.high


def test_a_charging_voltage_is_no_voltage_at_rest():
    verdict = judge_pack(PROVEN.model_copy(update={"blocks_v": (14.2, 14.2), "pack_v": 28.4}))
    assert verdict.state == "cannot_say" and not verdict.found
    assert "14.20 V cannot be after 12 hours of rest" in verdict.contradictions[0]
    just_charged = judge_pack(PackReadings(blocks_v=(14.2, 14.2), rest_hours=0.1, meter_error_percent=0.5))
    assert just_charged.state == "cannot_say" and not just_charged.contradictions, "true, but it says nothing yet"


@pytest.mark.parametrize(("hours", "contradicts"), [(0, True), (0.2, False), (30, False), (500, True)])
def test_absurd_charge_times_are_never_good(hours, contradicts):
    verdict = judge_pack(PROVEN.model_copy(update={"charge_hours": hours}))
    assert verdict.state == "cannot_say"
    assert bool(verdict.contradictions) is contradicts
    assert judge_pack(PROVEN.model_copy(update={"charge_hours": 8})).state == "good"


def test_one_failed_block_with_a_load_that_does_not_decide():
    """Ohm by hand: (22.85 - 21.5) V / 3 A = 450 milliohm: much, and not enough to say more than the blocks do."""
    verdict = judge_pack(PackReadings(blocks_v=(12.65, 10.2), loaded_v=21.5, load_current_a=3, **FULL))
    assert verdict.state == "failed" and verdict.found == {"one_block_low"}
    assert verdict.resistance_mohm.low < 450 < verdict.resistance_mohm.high


@pytest.mark.parametrize("current", [None, 5])
def test_a_flat_pack_is_charged_before_it_is_judged(current):
    verdict = judge_pack(PackReadings(blocks_v=(11.5, 11.5), loaded_v=18.5, load_current_a=current, **FULL))
    assert verdict.state == "low" and [block.state for block in verdict.blocks] == ["low", "low"]
    assert any("charge them before judging" in reason for reason in verdict.because)


@pytest.mark.parametrize("current", [None, 0, 0.5, 60])
def test_a_load_that_is_none_fails_nothing(current):
    for blocks in ((), (12.85, 12.83)):
        read = PackReadings(blocks_v=blocks, loaded_v=19.0, load_current_a=current, **FULL)
        verdict = judge_pack(read)
        assert verdict.state == "cannot_say"
        assert "load_sagged" not in verdict.found and "load_held" not in verdict.found


@pytest.mark.parametrize("amperes", [24 / 5, 24 / 6])
def test_lamps_or_a_resistor_are_load_enough(amperes):
    """Ohm by hand: 24 V over 5 ohm are 4.8 A and 115 W; a 12 V lamp of 55 W takes 4.6 A (from memory)."""
    read = PackReadings(blocks_v=(12.85, 12.83), loaded_v=25.68 - 0.15 * amperes, load_current_a=amperes, **FULL)
    assert judge_pack(read).state == "good"


def test_nominal_voltage_has_to_be_held():
    """Common practice, no source: a pack that falls under 24 V in a raise is not good; it need not have failed."""
    held, not_held = (judge_pack(PROVEN.model_copy(update={"loaded_v": v})) for v in (24.2, 23.9))
    assert held.state == "good" and not_held.state == "cannot_say"
    assert "load_sagged" not in not_held.found and "load_held" not in not_held.found


def test_no_sag_at_all_is_no_load_test():
    assert judge_pack(PROVEN.model_copy(update={"loaded_v": 25.66})).state == "cannot_say"


def test_a_block_that_gives_way_under_load_is_named():
    """Ohm by hand: 0.6 V / 8 A = 75 milliohm; 5.8 V / 8 A = 725 milliohm."""
    read = PackReadings(blocks_v=(12.8, 12.8), loaded_blocks_v=(12.2, 7.0), load_current_a=8, **FULL)
    verdict = judge_pack(read)
    assert verdict.state == "failed" and [block.state for block in verdict.blocks] == ["good", "failed"]
    first, second = (block.resistance_mohm for block in verdict.blocks)
    assert first.low < 75 < first.high and second.low < 725 < second.high
    reversed_block = judge_pack(read.model_copy(update={"loaded_blocks_v": (12.2, -1.0)}))
    assert reversed_block.blocks[1].state == "failed"
    wrong_sum = judge_pack(read.model_copy(update={"loaded_v": 24.0}))
    assert wrong_sum.state == "cannot_say" and "under load the blocks add up to 19.20 V" in wrong_sum.contradictions[0]


def test_two_low_blocks_that_differ_are_charged_before_one_is_blamed():
    verdict = judge_pack(PackReadings(blocks_v=(11.7, 9.8), **FULL))
    assert verdict.state == "low" and verdict.found == {"blocks_low"}
    uneven = judge_pack(PackReadings(blocks_v=(12.6, 11.8), **FULL))
    assert [block.state for block in uneven.blocks] == ["cannot_say", "low"], "less than a lost cell"


def test_cold_raises_resistance_and_takes_capacity():
    """From memory: resistance 1 % a degree under 25 °C; capacity 0.6–1 % a degree under 20 °C (IEC 60896-21)."""
    assert at_25_c(Band(120, 120), 5) == Band(pytest.approx(100), pytest.approx(100))
    assert at_25_c(Band(120, 120), None) == at_25_c(Band(120, 120), 30) == Band(120, 120)
    assert capacity_share(10) == Band(pytest.approx(0.9), pytest.approx(0.94))
    cold = PROVEN.model_copy(update={"loaded_v": 24.3, "temperature_c": 5})
    assert judge_pack(cold).state == "cannot_say" and "10 to 35 °C" in judge_pack(cold).wants[0]


READINGS = st.builds(
    PackReadings,
    blocks_v=st.one_of(st.just(()), st.tuples(st.floats(0, 15), st.floats(0, 15))),
    pack_v=st.none() | st.floats(0, 31),
    rest_hours=st.none() | st.floats(0, 100),
    meter_error_percent=st.none() | st.floats(0, 5),
    loaded_v=st.none() | st.floats(0, 31),
    loaded_blocks_v=st.one_of(st.just(()), st.tuples(st.floats(-6, 15), st.floats(-6, 15))),
    load_current_a=st.none() | st.floats(0, 60),
    temperature_c=st.none() | st.floats(-40, 80),
    charge_hours=st.none() | st.floats(0, 200),
    gauge_bars_percent=st.none() | st.floats(0, 100),
    beeps_under_load=st.none() | st.booleans(),
)
NEARLY_PROVEN = st.builds(
    lambda blocks, loaded, current, **more: PROVEN.model_copy(
        update={"blocks_v": blocks, "pack_v": None, "loaded_v": loaded, "load_current_a": current, **more}
    ),
    blocks=st.tuples(st.floats(12.4, 14.5), st.floats(12.4, 14.5)),
    loaded=st.floats(20, 26),
    current=st.floats(1, 60),
    rest_hours=st.floats(5, 9),
    temperature_c=st.none() | st.floats(0, 40),
    charge_hours=st.none() | st.floats(0, 100),
    beeps_under_load=st.none() | st.booleans(),
)
"""Close to good, so that both sides of each limit are met."""


@settings(max_examples=600, deadline=None)
@given(READINGS | NEARLY_PROVEN)
def test_good_always_rests_on_every_reading(read):
    verdict = judge_pack(read)
    if verdict.state == "good":
        assert not verdict.wants and not verdict.contradictions
        assert read.rest_hours >= 6 and read.meter_error_percent is not None and 4 <= read.load_current_a <= 20
        assert not read.beeps_under_load and (read.charge_hours is None or 1 <= read.charge_hours <= 14)
        loaded = read.loaded_v if read.loaded_v is not None else sum(read.loaded_blocks_v)
        assert loaded >= 24 and max(read.blocks_v) <= 13.5
        ohm = (sum(read.blocks_v) - loaded) / read.load_current_a
        assert 0 < ohm <= 0.3 * 1.25, "Ohm's law by hand; at 0 °C a quarter more"


@settings(max_examples=600, deadline=None)
@given(READINGS | NEARLY_PROVEN)
def test_no_resistance_is_negative_and_none_is_drawn_from_what_contradicts(read):
    verdict = judge_pack(read)
    for band in (verdict.resistance_mohm, *(block.resistance_mohm for block in verdict.blocks)):
        assert band is None or 0 <= band.low <= band.high < 1e6
    assert not (verdict.contradictions and verdict.state != "cannot_say")
