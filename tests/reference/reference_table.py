"""One table of every check against figures from outside the program.

A calculation calls the package and returns one number for each of its rows. A row says what is expected, and within
which share of it; the calculation says from where. `results_of` runs one, once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import FrameType

import solarvent

#: Where the package is, and where the tests with their helpers are.
PACKAGE, HERE = f"{Path(solarvent.__file__).parent}{os.sep}", f"{Path(__file__).parents[1]}{os.sep}"

READ = "source read"
WORKED_FROM = "source read, number worked from it"
LIBRARY = "open data or library"
MEMORY = "from memory"
PRACTICE = "common practice, no source"
PROVENANCES = (READ, WORKED_FROM, LIBRARY, MEMORY, PRACTICE)

WHOLE = "worked example"
FORMULA = "formula or figure"
UNITS = "unit conversion"
KINDS = (WHOLE, FORMULA, UNITS)


@dataclass(frozen=True)
class Row:
    """One expected number.

    Attributes
    ----------
    id : str
        Short label, unique in the table.
    what, unit : str
        The quantity in words, and its unit; ``-`` for a plain number.
    expected : float or None
        None if the calculation's oracle works it out.
    tolerance : float
        Largest allowed difference, as a share of what is expected.
    why_missed : str
        Set if the program is known to miss it: the reason.
    wrong, why_wrong : float, str
        A published figure that is wrong or misleading, and why; the program must not give it.
    """

    id: str
    what: str
    unit: str
    expected: float | None
    tolerance: float
    why_missed: str
    wrong: float | None
    why_wrong: str


@dataclass(frozen=True)
class Calculation:
    """A call of the package that answers some rows.

    Attributes
    ----------
    topic, source, provenance, kind : str
        For all its rows.
    rows : tuple of Row
    run : callable
        Takes nothing, returns the package's numbers, one a row.
    oracle : callable or None
        Takes nothing, returns the expected numbers of a library or an open data set, one a row.
    """

    topic: str
    source: str
    provenance: str
    kind: str
    rows: tuple[Row, ...]
    run: Callable[[], Sequence[float]]
    oracle: Callable[[], Sequence[float]] | None


@dataclass(frozen=True)
class Result:
    """A row with its numbers."""

    calculation: Calculation
    row: Row
    expected: float
    got: float

    def holds(self, got: float | None = None) -> bool:
        """Tell whether the program's number, or another one in its place, is right and not the known wrong one."""
        value, row = self.got if got is None else got, self.row
        near = abs(value - self.expected) <= row.tolerance * abs(self.expected)
        return near and (row.wrong is None or abs(value - row.wrong) > row.tolerance * abs(row.wrong))


CALCULATIONS: list[Calculation] = []


def row(
    name: str, what: str, unit: str, expected: float | None = None, *, rel: float | None = None,
    within: float | None = None, why_missed: str = "", wrong: float | None = None, why_wrong: str = "",
) -> Row:  # fmt: skip
    """Write a row; its tolerance is a share of what is expected (`rel`), or in the unit of it (`within`)."""
    if rel is None:
        rel = within / abs(expected)
    return Row(name, what, unit, expected, rel, why_missed, wrong, why_wrong)


def checks(
    topic: str, source: str, provenance: str, *rows: Row, kind: str = FORMULA,
    oracle: Callable[[], Sequence[float]] | None = None,
) -> Callable:  # fmt: skip
    """Put the decorated calculation into the table."""

    def register(run: Callable[[], Sequence[float]]) -> Callable[[], Sequence[float]]:
        CALCULATIONS.append(Calculation(topic, source, provenance, kind, rows, run, oracle))
        return run

    return register


@cache
def results_of(calculation: Calculation) -> tuple[Result, ...]:
    """Run one calculation; its numbers are kept."""
    expected = [row.expected for row in calculation.rows]
    if calculation.oracle is not None:
        expected = [float(value) for value in calculation.oracle()]
    got = [float(value) for value in calculation.run()]
    return tuple(Result(calculation, *each) for each in zip(calculation.rows, expected, got, strict=True))


def run_watched(calculation: Calculation, notice: Callable) -> None:
    """Run a calculation, with each call of a function told to `notice`, as ``sys.setprofile`` has it."""
    before = sys.getprofile()
    sys.setprofile(notice)
    try:
        calculation.run()
    finally:
        sys.setprofile(before)


def called_functions(calculation: Calculation) -> list[tuple[str, str]]:
    """Module and qualified name of each function of the package that a calculation calls itself, or a helper for it."""
    found: dict[tuple[str, str], None] = {}

    def notice(frame: FrameType, event: str, argument: object) -> None:
        if (
            event == "call"
            and frame.f_code.co_filename.startswith(PACKAGE)
            and frame.f_back is not None
            and frame.f_back.f_code.co_filename.startswith(HERE)
        ):
            found[frame.f_globals["__name__"], frame.f_code.co_qualname] = None

    run_watched(calculation, notice)
    return list(found)
