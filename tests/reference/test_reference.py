"""The table of outside checks: each holds or says why not, calls the package, and is red when its number is off."""

from collections import Counter
from pathlib import Path

import checks_of_circuits
import numpy as np
import pytest
from all_checks import calculations, shipped_form
from reference_table import (
    KINDS,
    LIBRARY,
    PACKAGE,
    PROVENANCES,
    READ,
    UNITS,
    WHOLE,
    Calculation,
    Result,
    Row,
    results_of,
    run_watched,
)

from solarvent.air import opening
from solarvent.report.about_text import groups
from solarvent.weather import sky
from solarvent.wiring import circuit

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")

ALL = calculations()
by_calculation = pytest.mark.parametrize("calculation", ALL, ids=lambda one: one.rows[0].id)


def all_results():
    return [result for calculation in ALL for result in results_of(calculation)]


@by_calculation
def test_the_numbers_are_within_tolerance_or_a_reason_is_given(calculation):
    for result in results_of(calculation):
        said = f"{result.row.id} {result.row.what}: expected {result.expected}, got {result.got}"
        if result.row.why_missed:
            assert not result.holds(), f"{said}; it holds now: take its why_missed out"
        else:
            assert result.holds(), said


@by_calculation
def test_a_number_off_by_twice_its_tolerance_is_red(calculation):
    for result in results_of(calculation):
        if not result.row.why_missed:
            for factor in (1 + 2 * result.row.tolerance, 1 - 2 * result.row.tolerance):
                assert not result.holds(result.got * factor), f"{result.row.id} times {factor}"


class EnteredError(BaseException):
    """A function of the package was entered."""


@by_calculation
def test_the_calculation_calls_the_package(calculation):
    def notice(frame, event, argument):
        if event == "call" and frame.f_code.co_filename.startswith(PACKAGE):
            raise EnteredError(frame.f_code.co_name)

    # Run once before, it has loaded what it needs: what follows is left at the first call of the package.
    results_of(calculation)
    with pytest.raises(EnteredError, match=r"\w"):
        run_watched(calculation, notice)


def test_a_figure_known_to_be_wrong_is_not_given_and_would_be_red():
    traps = [result for result in all_results() if result.row.wrong is not None]
    assert len(traps) >= 14
    for result in traps:
        row = result.row
        assert row.why_wrong
        # Far enough from the right one that no number is both.
        assert abs(row.wrong - result.expected) > row.tolerance * (abs(row.wrong) + abs(result.expected)), row.id
        assert result.holds()
        for factor in (1.0, 1 + row.tolerance / 2, 1 - row.tolerance / 2):
            assert not result.holds(row.wrong * factor), row.id


def test_the_wrong_figure_alone_makes_a_check_red():
    # With so wide a tolerance the number would pass, were the wrong one not named.
    wide = Row("X", "something", "-", 1.0, 0.3, "", 1.25, "because")
    one = Result(Calculation("t", "s", READ, WHOLE, (wide,), list, None), wide, 1.0, 1.0)
    assert one.holds(0.8)
    assert not one.holds(1.25)


def reds(calculation):
    """The labels of a calculation that are red when it is run anew."""
    # Not through results_of, which would keep what the broken program gives.
    expected = calculation.oracle() if calculation.oracle else [row.expected for row in calculation.rows]
    rows = zip(calculation.rows, expected, calculation.run(), strict=True)
    return {row.id for row, wanted, got in rows if not Result(calculation, row, float(wanted), float(got)).holds()}


def of(name):
    return next(one for one in ALL if one.rows[0].id == name)


def test_a_wire_counted_one_way_is_seen(monkeypatch):
    real = circuit._own
    monkeypatch.setattr(circuit, "_own", lambda part, plan: (real(part, plan)[0] / 2, None))
    assert reds(of("WIRE-09a")) == {"WIRE-09a", "WIRE-09b"}


def test_a_gentler_cloud_is_seen_in_the_light_of_months(monkeypatch):
    monkeypatch.setattr(sky, "cloud_factor", lambda oktas: 1 - 0.25 * (np.asarray(oktas) / 8) ** 3.4)
    assert reds(of("SOL-17a")) >= {"SOL-17b", "SOL-17e"}
    assert "TMY-8" in reds(of("TMY-6"))


def test_a_lighter_gravity_is_seen_in_a_whole_house(monkeypatch):
    monkeypatch.setattr(opening, "GRAVITY", 9.0)
    assert reds(of("NV-01")) == {"NV-01"}


def test_a_fan_that_follows_the_cube_is_seen_in_a_whole_circuit(monkeypatch):
    monkeypatch.setattr(checks_of_circuits, "speed_ratio", lambda volts, rated: (volts / rated) ** 3)
    assert len(reds(of("FAN-51a"))) >= 8


def test_the_table_is_as_large_and_as_well_founded_as_it_was_meant_to_be():
    kinds, provenances = (
        Counter(getattr(one, name) for one in ALL for _ in one.rows) for name in ("kind", "provenance")
    )
    assert sum(kinds.values()) >= 100
    assert kinds[UNITS] <= 20
    assert provenances[READ] + provenances[LIBRARY] >= 40
    # Not rows but calculations.
    assert sum(one.kind == WHOLE for one in ALL) >= 25
    assert set(kinds) <= set(KINDS)
    assert set(provenances) <= set(PROVENANCES)


def test_every_row_is_told_apart_and_has_its_words():
    rows = [row for one in ALL for row in one.rows]
    assert len({row.id for row in rows}) == len(rows)
    assert all(row.what and row.unit and row.tolerance > 0 for row in rows)
    assert all(one.source for one in ALL)
    # The page of the program is the place for addresses, not the table.
    assert not [one.source for one in ALL if ".com" in one.source or "www" in one.source]


def test_the_shipped_table_is_what_the_program_gives_now():
    shipped = groups()
    assert len(shipped) == len(ALL), "run: python tests/reference/write_checks.py"
    for entry, calculation in zip(shipped, ALL, strict=True):
        now, then = shipped_form(calculation), dict(entry)
        rows = list(zip(now.pop("rows"), then.pop("rows"), strict=True))
        assert now == then
        for new, old in rows:
            words = [{key: value for key, value in row.items() if key not in ("expected", "got")} for row in (new, old)]
            assert words[0] == words[1]
            # A twentieth of the tolerance, for other versions of the libraries; nine digits are written.
            slack = abs(new["expected"]) * max(new["tolerance"] / 20, 2e-9)
            assert new["expected"] == pytest.approx(old["expected"], abs=slack)
            assert new["got"] == pytest.approx(old["got"], abs=slack)


def test_the_writer_writes_the_file_that_ships(tmp_path, monkeypatch, capsys):
    import runpy

    import all_checks

    monkeypatch.setattr(all_checks, "SHIPPED", tmp_path / "checks.toml")
    runpy.run_path(str(Path(__file__).parent / "write_checks.py"), run_name="__main__")
    assert "written" in capsys.readouterr().out
    written = (tmp_path / "checks.toml").read_text(encoding="utf-8")
    assert written.count("[[checks]]") == len(ALL)
