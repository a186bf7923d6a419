"""Every calculation of the table, in the order in which it is shown, and the table as it ships."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import checks_of_air
import checks_of_circuits
import checks_of_heat
import checks_of_houses
import checks_of_panels
import checks_of_plans
import checks_of_the_sky
import checks_of_the_sun
import checks_of_water
import checks_of_weather
import checks_of_wires
from reference_table import CALCULATIONS, Calculation, Result, results_of

SHIPPED = Path(__file__).resolve().parents[2] / "profiles" / "checks.toml"

MODULES = (
    checks_of_the_sun, checks_of_weather, checks_of_the_sky, checks_of_panels, checks_of_wires, checks_of_circuits,
    checks_of_air, checks_of_heat, checks_of_water, checks_of_plans, checks_of_houses,
)  # fmt: skip

_HEAD = """\
# Every check of the program against figures from outside it, as `solarvent about checks` shows them. Made by
#
#     python tests/reference/write_checks.py
#
# and held by tests/reference against what the program gives; not written by hand. A tolerance is a share of what is
# expected.
"""


def calculations() -> list[Calculation]:
    """Every calculation, by topic."""
    order = {module.__name__: number for number, module in enumerate(MODULES)}
    topics = list(dict.fromkeys(c.topic for c in sorted(CALCULATIONS, key=lambda c: order[c.run.__module__])))
    return sorted(CALCULATIONS, key=lambda c: topics.index(c.topic))


def shipped_form(calculation: Calculation) -> dict[str, Any]:
    """A calculation as it stands in the shipped file."""
    return {
        "topic": calculation.topic,
        "source": calculation.source,
        "provenance": calculation.provenance,
        "kind": calculation.kind,
        "rows": [_shipped_row(result) for result in results_of(calculation)],
    }


def _shipped_row(result: Result) -> dict[str, Any]:
    row = result.row
    numbers = {"expected": result.expected, "got": result.got, "tolerance": row.tolerance}
    entry: dict[str, Any] = {"id": row.id, "what": row.what, "unit": row.unit}
    entry |= {name: float(f"{value:.9g}") for name, value in numbers.items()}
    entry["within"] = result.holds()
    if row.why_missed:
        entry["why_missed"] = row.why_missed
    if row.wrong is not None:
        entry |= {"wrong": float(f"{row.wrong:.9g}"), "why_wrong": row.why_wrong}
    return entry


def as_toml() -> str:
    """The whole shipped file."""
    blocks = [_HEAD]
    for calculation in calculations():
        form = shipped_form(calculation)
        lines = ["[[checks]]", *(f"{name} = {_value(form[name])}" for name in form if name != "rows")]
        lines += ["rows = [", *(f"    {_inline(entry)}," for entry in form["rows"]), "]"]
        blocks.append("\n".join(lines) + "\n")
    return "\n".join(blocks)


def _inline(entry: dict[str, Any]) -> str:
    return "{" + ", ".join(f"{name} = {_value(value)}" for name, value in entry.items()) + "}"


def _value(value: Any) -> str:
    # JSON's strings, numbers and truths are TOML's too.
    return json.dumps(value, ensure_ascii=False)
