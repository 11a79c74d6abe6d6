"""Battery arithmetic against smartgauge's Peukert figures, a handbook list from memory, and Ohm's law by hand."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.errors import ReadingError
from guidance.electricity.physics import (
    Band,
    charge_band_percent,
    end_voltage_v,
    health_by_resistance,
    internal_resistance_mohm,
    lifts_left,
    peukert_hours,
    series_v,
    usable_percent,
)


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
    """By hand from the list (from memory): 1 % of 12.35 V are 0.12 V, and about 0.2 V are 25 % of charge."""
    exact, loose = (charge_band_percent(12.35, 8, error) for error in (0.0, 1.0))
    assert loose.high - exact.high == pytest.approx(15, abs=2)


def test_bad_arguments_of_the_formulas():
    with pytest.raises(ReadingError, match="exponent"):
        peukert_hours(5, 20, 0.9, 1)
    with pytest.raises(ReadingError, match="more than 0"):
        peukert_hours(5, 20, 1.2, 0)
    with pytest.raises(ReadingError, match="load current"):
        internal_resistance_mohm(25, 24, 0)


def test_resistance_ends_a_discharge_early():
    """Ohm by hand: at 9 A and 450 milliohm 4.05 V are lost, so that 21.0 V are reached at 25.05 V at rest.

    That is 12.525 V a block, 84.4 % of the handbook list (from memory): of a full charge 15.6 % are left.
    """
    usable = usable_percent(Band(100, 100), Band(450, 450), Band(9, 9))
    assert usable.low == pytest.approx(15.6, abs=0.1)
    assert usable_percent(Band(100, 100), Band(150, 150), Band(9, 9)) == Band(100, 100)
    assert usable_percent(Band(40, 40), Band(1460, 1460), Band(9, 9)) == Band(0, 0)
    assert health_by_resistance(Band(60, 100), Band(600, 700), Band(20, 300)) == Band(50, 50)


@settings(max_examples=300, deadline=None)
@given(st.floats(0, 100), st.floats(0, 3000), st.floats(0, 3000), st.floats(1, 20))
def test_more_resistance_never_leaves_more_of_a_charge(charge, small, more, current):
    sound = Band(20, 300)
    bands = [
        (usable_percent(Band(charge, charge), Band(r, r), Band(current, current)), r) for r in (small, small + more)
    ]
    assert bands[1][0].low <= bands[0][0].low and bands[1][0].high <= bands[0][0].high
    health = [health_by_resistance(Band(60, 100), Band(r, r), sound) for _, r in bands]
    assert health[1].high <= health[0].high and health[0].low <= 60


def test_lifts_left_is_an_interval_that_holds_the_plain_calculation():
    band = lifts_left(
        5.0, 20, Band(1.1, 1.25), Band(50, 80), Band(70, 100), current_a=Band(6, 9), seconds_per_lift=Band(20, 40)
    )
    middle = peukert_hours(5.0 * 0.85, 20, 1.17, 7.5) * 0.65 * 3600 / 30
    assert 0 < band.low < middle < band.high
    assert lifts_left(5.0, 20, Band(1.2, 1.2), Band(0, 0), Band(100, 100), Band(6, 6), Band(30, 30)) == Band(0, 0)


@settings(max_examples=300, deadline=None)
@given(st.floats(-6, 31), st.floats(-6, 31), st.floats(0.01, 60), st.floats(0, 20), st.floats(0, 20))
def test_the_formula_gives_no_negative_resistance_or_refuses(rested, loaded, current, volts_error, amperes_error):
    try:
        band = internal_resistance_mohm(rested, loaded, current, volts_error, amperes_error)
    except ReadingError:
        assert loaded > rested
    else:
        assert 0 <= band.low <= band.high
        true = 1000 * (rested - loaded) / current
        assert true < 0 or band.low - 1e-6 <= true <= band.high * (1 + 1e-9) + 1e-6


@settings(max_examples=300, deadline=None)
@given(st.floats(9, 14), st.floats(0, 2), st.floats(0, 2))
def test_a_larger_meter_error_never_narrows_the_band(volts, small, more):
    narrow, wide = (charge_band_percent(volts, 8, error) for error in (small, small + more))
    assert wide.low <= narrow.low + 1e-9 and wide.high >= narrow.high - 1e-9
