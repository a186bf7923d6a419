"""The glossary of result columns is complete and speaks of known quantities only."""

from __future__ import annotations

import re

import pytest

from solarvent.base.columns import _ROWS, COLUMNS, Column
from solarvent.base.quantities import EXAMPLES, units_of


def test_no_name_stands_twice() -> None:
    assert len(COLUMNS) == len(_ROWS)


@pytest.mark.parametrize("column", COLUMNS.values(), ids=COLUMNS)
def test_a_column_is_fully_described(column: Column) -> None:
    assert re.fullmatch(r"[a-z][a-z0-9_]*", column.name)
    assert column.dimension in ("", *EXAMPLES)
    assert column.label.strip()
    assert 0 <= column.decimals <= 4
    assert 0 <= column.decimals_us <= 4
    assert column.meaning
    assert not column.meaning.endswith(".")


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("column", COLUMNS.values(), ids=COLUMNS)
def test_a_heading_carries_one_unit(column: Column, system: str) -> None:
    unit = column.unit(system)
    assert unit in (units_of(column.dimension) if column.dimension else ("",))
    assert column.heading(system).count("[") <= 1
    assert column.heading(system).endswith(f"[{unit}]" if unit else column.label)


def test_values_are_turned_into_the_unit_of_the_heading() -> None:
    assert COLUMNS["temp_air"].shown(20.0, "us") == pytest.approx(68.0)
    assert COLUMNS["flow"].shown(0.1) == pytest.approx(360.0)
    assert COLUMNS["running"].shown(0.5, "us") == 0.5
