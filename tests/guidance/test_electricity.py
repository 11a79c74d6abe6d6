"""Battery arithmetic against published figures, and verdicts that claim no more than was read."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.errors import ReadingError
from guidance.electricity.verdict import (
    Band,
    PackReadings,
    charge_band_percent,
    end_voltage_v,
    internal_resistance_mohm,
    judge_pack,
    lifts_left,
    peukert_hours,
    series_v,
)

PROVEN = PackReadings(
    blocks_v=(12.85, 12.83), pack_v=25.68, rest_hours=12, meter_error_percent=0.5, loaded_v=24.4, load_current_a=8
)
"""Everything that is needed to call a pack good."""


def test_peukert_at_the_rated_hour_rate():
    """t = H (C / (I H))^n (smartgauge's explanation; recomputed): 100 Ah at 20 h, n = 1.2."""
    assert peukert_hours(100, 20, 1.2, 5) == pytest.approx(20.0, abs=5e-4)
    assert peukert_hours(100, 20, 1.2, 10) == pytest.approx(8.7055, abs=5e-5)
    assert peukert_hours(100, 20, 1.25, 20) == pytest.approx(3.5355, abs=5e-5)


def test_internal_resistance_from_sag():
    """Ohm: 25.3 V to 23.8 V at 10 A is 150 milliohm."""
    band = internal_resistance_mohm(25.3, 23.8, 10)
    assert (band.low, band.high) == (pytest.approx(150), pytest.approx(150))


def test_meter_error_widens_the_resistance():
    band = internal_resistance_mohm(25.3, 23.8, 10, voltage_error_percent=1, current_error_percent=2)
    assert band.low < 110 and band.high > 190


def test_series_and_end_voltage():
    """Arithmetic; 1.75 V a cell at the 20-hour rate (IEC 61056-1, from memory)."""
    assert series_v((12.65, 12.65)) == pytest.approx(25.30)
    assert series_v((12.65, 10.2)) == pytest.approx(22.85)
    assert end_voltage_v(6) == pytest.approx(10.5)
    assert end_voltage_v(12) == pytest.approx(21.0)


@pytest.mark.parametrize(("volts", "percent"), [(12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0)])
def test_the_list_lies_inside_the_band(volts, percent):
    """Handbook list, from memory. AGM blocks rest up to 0.2 V higher, so the true charge may be lower."""
    band = charge_band_percent(volts, rest_hours=8, meter_error_percent=0)
    assert band.high == pytest.approx(percent, abs=1e-9)
    assert band.low <= percent
    assert charge_band_percent(volts + 0.2, 8, 0).low == pytest.approx(percent, abs=1e-9)


def test_one_percent_of_meter_error_is_about_fifteen_percent_of_charge():
    """Vehicle-battery pages."""
    exact, loose = (charge_band_percent(12.35, 8, error) for error in (0.0, 1.0))
    assert loose.high - exact.high == pytest.approx(15, abs=2)


def test_a_proven_pack_is_good():
    assert judge_pack(PROVEN).state == "good"
    assert judge_pack(PROVEN).findings == {"block_voltages": "both_high", "load_test": "holds"}


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
    assert apart.findings["block_voltages"] == "one_low"


def test_two_low_blocks_are_charged_before_they_are_judged():
    verdict = judge_pack(PackReadings(blocks_v=(11.7, 11.75), rest_hours=8, meter_error_percent=0.5))
    assert verdict.state == "low"
    assert verdict.findings["block_voltages"] == "both_low"


def test_a_pack_that_sags_under_load_has_failed_whatever_its_gauge_shows():
    verdict = judge_pack(PROVEN.model_copy(update={"loaded_v": 17.5, "gauge_bars_percent": 100}))
    assert verdict.state == "failed"
    assert verdict.findings["load_test"] == "sags"


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
    ],
)
def test_impossible_readings_are_refused(reading, says):
    with pytest.raises(ReadingError, match=says):
        judge_pack(PackReadings(**reading))


def test_bad_arguments_of_the_formulas():
    with pytest.raises(ReadingError, match="exponent"):
        peukert_hours(5, 20, 0.9, 1)
    with pytest.raises(ReadingError, match="more than 0"):
        peukert_hours(5, 20, 1.2, 0)
    with pytest.raises(ReadingError, match="load current"):
        internal_resistance_mohm(25, 24, 0)


def test_lifts_left_is_an_interval_that_holds_the_plain_calculation():
    band = lifts_left(
        5.0, 20, Band(1.1, 1.25), Band(50, 80), Band(70, 100), current_a=Band(6, 9), seconds_per_lift=Band(20, 40)
    )
    middle = peukert_hours(5.0 * 0.85, 20, 1.17, 7.5) * 0.65 * 3600 / 30
    assert 0 < band.low < middle < band.high
    assert lifts_left(5.0, 20, Band(1.2, 1.2), Band(0, 0), Band(100, 100), Band(6, 6), Band(30, 30)) == Band(0, 0)


readings = st.builds(
    PackReadings,
    blocks_v=st.one_of(st.just(()), st.tuples(st.floats(0, 15), st.floats(0, 15))),
    pack_v=st.none() | st.floats(0, 31),
    rest_hours=st.none() | st.floats(0, 100),
    meter_error_percent=st.none() | st.floats(0, 5),
    loaded_v=st.none() | st.floats(0, 31),
    load_current_a=st.none() | st.floats(0, 50),
    gauge_bars_percent=st.none() | st.floats(0, 100),
    beeps_under_load=st.none() | st.booleans(),
)


@settings(max_examples=300, deadline=None)
@given(readings)
def test_good_always_rests_on_every_reading(read):
    verdict = judge_pack(read)
    if verdict.state == "good":
        assert not verdict.wants and not verdict.contradictions
        assert read.rest_hours >= 6 and read.meter_error_percent is not None and read.load_current_a >= 3
        assert not read.beeps_under_load


@settings(max_examples=300, deadline=None)
@given(st.floats(9, 14), st.floats(0, 2), st.floats(0, 2))
def test_a_larger_meter_error_never_narrows_the_band(volts, small, more):
    narrow, wide = (charge_band_percent(volts, 8, error) for error in (small, small + more))
    assert wide.low <= narrow.low + 1e-9 and wide.high >= narrow.high - 1e-9
