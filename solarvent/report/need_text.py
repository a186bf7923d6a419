"""The answer of ``need`` as text and as data."""

from __future__ import annotations

from calendar import month_name
from math import isnan

from solarvent.base.quantities import show
from solarvent.house.air_need import NeedBelow
from solarvent.plan.plan import Plan
from solarvent.report.data import to_json
from solarvent.report.layout import CAUTIONS, heading, paragraph, table
from solarvent.simulation.house_summary import PEAK_BAND


def render_need(plan: Plan, answer: NeedBelow, system: str, note: str = "") -> str:
    """Write the whole answer.

    Parameters
    ----------
    plan : Plan
        The plan.
    answer : NeedBelow
        From :func:`solarvent.house.air_need.need_below`.
    system : {"metric", "us"}
        Units.
    note : str
        Said under the title.

    Returns
    -------
    str
        Text of at most 80 columns.
    """
    below, outside = (show(value, "temperature", system, 0) for value in (answer.below, answer.outside))
    blocks = [paragraph(plan.record.title[:200]) + ("\n" + paragraph(note) if note else "")]
    when = f"in a steady sun of {answer.ghi:.0f} W/m2 on the level ({month_name[answer.month]})"
    if isnan(answer.flow):
        text = (
            f"No air keeps the house below {below} with {outside} outside: ventilation never cools below the air that"
            " it brings in. Shade, leaves and damp do."
        )
        return "\n\n".join([*blocks, paragraph(text), "\n".join(paragraph(words) for words in CAUTIONS)])
    text = (
        f"To stay at or below {below} with {outside} outside, {when}, the house needs"
        f" {show(answer.flow, 'flow', system)} of fresh air: {answer.air_changes:.0f} air changes an hour,"
        f" {answer.air_changes / 60:.1f} a minute."
    )
    if answer.flow == 0:
        text = f"With {outside} outside, {when}, the shut house stays below {below} by what its cover loses."
    blocks.append(paragraph(text))
    rows = [(words, *_both(answer, flow, system)) for words, flow in answer.otherwise.items()]
    if rows:
        blocks.append(f"{heading('If one thing were different')}\n{table(rows, ('', 'air', 'changes [1/h]'))}")
    rules = [
        ("by the balance of ANSI/ASAE EP406", *_both(answer, answer.by_standard, system)),
        ("one volume a minute", *_both(answer, answer.by_volume, system)),
        ("8 cfm for each ft2 of floor", *_both(answer, answer.by_floor[0], system)),
        ("10 cfm for each ft2 of floor", *_both(answer, answer.by_floor[1], system)),
    ]
    blocks.append(f"{heading('Beside it, the rules of the trade')}\n{table(rules, ('', 'air', 'changes [1/h]'))}")
    band = show(PEAK_BAND, "temperature difference", system, 0)
    blocks.append(
        paragraph(
            "Steady sun, nothing stored, no help from wind and draught through other openings: the safe side for the"
            f" plants. The model is good to {band}, more or less (solarvent about models). What the fans of the plan"
            " give: solarvent airflow."
        )
    )
    return "\n\n".join([*blocks, "\n".join(paragraph(words) for words in CAUTIONS)])


def _both(answer: NeedBelow, flow: float, system: str) -> tuple[str, str]:
    return show(flow, "flow", system), f"{answer.changes_of(flow):.0f}"


def need_json(plan: Plan, answer: NeedBelow) -> str:
    """Write the answer as JSON, schema ``solarvent.need/1``, in SI units."""
    return to_json(
        {
            "schema": "solarvent.need/1",
            "title": plan.record.title,
            "below": answer.below,
            "outside": answer.outside,
            "ghi": answer.ghi,
            "month": answer.month,
            "flow": answer.flow,
            "air_changes": answer.air_changes,
            "rules": {
                "standard": answer.by_standard,
                "volume_a_minute": answer.by_volume,
                "floor_low": answer.by_floor[0],
                "floor_high": answer.by_floor[1],
            },
            "otherwise": [{"what": words, "flow": flow} for words, flow in answer.otherwise.items()],
        }
    )
