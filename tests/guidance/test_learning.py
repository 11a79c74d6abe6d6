"""Learning from closed cases: Dirichlet counts, shown and reversible, from a file that is checked line by line."""

import json

import pytest

from classifier.errors import CaseError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.learning import ClosedCase, count_cases, learned, load_cases, shares


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def _share(rows, setting, fault):
    return next(row for row in rows if (row.setting, row.fault) == (setting, fault))


def test_no_cases_leave_every_share_where_it_was(catalogue):
    for row in shares(catalogue, count_cases([], catalogue)):
        assert row.share_now == pytest.approx(row.share_before)


def test_posterior_mean_of_a_dirichlet(catalogue):
    cases = [ClosedCase("in_service", "board_faulty")] * 10 + [ClosedCase("in_service", "fuse_blown")] * 2
    rows = shares(catalogue, count_cases(cases, catalogue))
    strength = catalogue.fault_settings.prior_cases
    board = _share(rows, "in_service", "board_faulty")
    assert board.share_now == pytest.approx((strength * board.share_before + 10) / (strength + 12))
    assert board.cases == 10
    untouched = _share(rows, "newly_installed", "board_faulty")
    assert untouched.share_now == pytest.approx(untouched.share_before)
    for setting in ("in_service", "newly_installed"):
        assert sum(row.share_now for row in rows if row.setting == setting) == pytest.approx(1.0)


def test_learned_cases_move_the_posterior_and_taking_them_out_moves_it_back(catalogue):
    def board(of):
        return of.fault_space.believe({"setting": "in_service", "moves": "dead"}).marginal("board_faulty")[1]

    cases = [ClosedCase("in_service", "board_faulty")] * 60
    after = learned(catalogue, count_cases(cases, catalogue))
    assert board(after) > 3 * board(catalogue)
    back = learned(catalogue, count_cases([], catalogue))
    assert board(back) == pytest.approx(board(catalogue), rel=1e-9)
    assert "60 closed cases" in after.fault_settings.rates_note
    assert "Invented" in catalogue.fault_settings.rates_note


def test_more_cases_make_a_share_more_certain(catalogue):
    few, many = (
        _share(shares(catalogue, count_cases([ClosedCase("in_service", "battery_flat")] * n, catalogue)), *where)
        for n, where in ((2, ("in_service", "battery_flat")), (200, ("in_service", "battery_flat")))
    )
    assert many.deviation < few.deviation


def test_cases_are_read_line_by_line(tmp_path, catalogue):
    path = tmp_path / "cases.jsonl"
    path.write_text(json.dumps({"setting": "in_service", "fault": "battery_flat", "note": "x"}) + "\n\n")
    assert load_cases(path) == [ClosedCase("in_service", "battery_flat")]
    path.write_text('{"setting": "in_service"}\n')
    with pytest.raises(CaseError, match="line 1"):
        load_cases(path)
    with pytest.raises(CaseError, match="cannot be read"):
        load_cases(tmp_path / "missing.jsonl")
    with pytest.raises(CaseError, match="did you mean 'battery_flat'"):
        count_cases([ClosedCase("in_service", "batery_flat")], catalogue)
    with pytest.raises(CaseError, match="unknown setting"):
        count_cases([ClosedCase("in_storage", "battery_flat")], catalogue)
