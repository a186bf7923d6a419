"""Two plans side by side, for people and as data."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import Any

from solarvent.base.quantities import show, units_of
from solarvent.report.data import to_json
from solarvent.report.layout import heading, paragraph, table
from solarvent.studies.compare import Row

_WIDEST = {"what": 34, "value": 20}
_TITLES = {"result": "What comes of them", "finding": "Findings", "plan": "In the plan files (SI units)"}


def render_compare(titles: tuple[str, str], rows: Sequence[Row], system: str, everything: bool = False) -> str:
    """Write two plans side by side, differences first.

    Parameters
    ----------
    titles : tuple of str
        Of the left and the right plan.
    rows : sequence of Row
        From :func:`solarvent.studies.compare.compare`.
    system : {"metric", "us"}
        Units.
    everything : bool
        Show what is the same too.

    Returns
    -------
    str
        Text of at most 80 columns.
    """
    blocks = [
        paragraph(f"Left:  {titles[0][:200]}", "       ", "")
        + "\n"
        + paragraph(f"Right: {titles[1][:200]}", "       ", "")
    ]
    different = [row for row in rows if row.differs]
    if not different:
        blocks.append("The two plans are the same, in what they say and in what comes of it.")
    for group, title in _TITLES.items():
        if members := [row for row in different if row.group == group]:
            blocks.append(heading(f"{title}: differences") + "\n" + _table(members, system))
    same = [row for row in rows if not row.differs]
    if everything and same:
        blocks.append(heading("The same in both") + "\n" + _table(same, system))
    elif same:
        blocks.append(f"{len(same)} results and findings are the same in both; --all shows them.")
    return "\n\n".join(blocks)


def _table(rows: Sequence[Row], system: str) -> str:
    lines = [
        (_cut(row.what, _WIDEST["what"]), *(_shown(value, row, system) for value in (row.left, row.right)))
        for row in rows
    ]
    return table(lines, ("", "left", "right"))


def _cut(text: str, width: int) -> str:
    """Break a long text over several lines of a cell."""
    import textwrap

    return "\n".join(textwrap.wrap(text, width)) or "-"


def _shown(value: Any, row: Row, system: str) -> str:
    if value is None:
        return "-"
    if isinstance(value, float) and not isfinite(value):
        return "never" if row.dimension == "irradiance" else "-"
    if row.dimension and isinstance(value, int | float):
        return show(float(value), row.dimension, system)
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"
    return _cut(str(value), _WIDEST["value"])


def compare_json(titles: tuple[str, str], rows: Sequence[Row]) -> str:
    """Write two plans side by side as JSON, schema ``solarvent.compare/1``, in SI units."""
    return to_json(
        {
            "schema": "solarvent.compare/1",
            "left": titles[0],
            "right": titles[1],
            "rows": [
                {
                    "what": row.what,
                    "left": row.left,
                    "right": row.right,
                    "unit": units_of(row.dimension)[0] if row.dimension else "",
                    "differs": row.differs,
                    "group": row.group,
                }
                for row in rows
            ],
        }
    )
