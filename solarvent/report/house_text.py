"""The house in the answer of ``run``: its heat in four ways of running it."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan

from solarvent.base.quantities import convert, show, shown_unit
from solarvent.report.layout import heading, paragraph, table
from solarvent.simulation.house_summary import PEAK_BAND, CaseSummary, HouseSummary

_WORDS = {
    "closed": "everything shut",
    "openings": "openings only",
    "fans": "fans, openers shut",
    "both": "as planned",
}


def house_block(house: HouseSummary, system: str) -> str:
    """Tabulate how warm the house gets, shut, with its openings, with its fans, and with both.

    Parameters
    ----------
    house : HouseSummary
        Over any span.
    system : {"metric", "us"}
        Units.

    Returns
    -------
    str
        Text of at most 80 columns.
    """
    degrees, kelvins = (shown_unit(kind, system) for kind in ("temperature", "temperature difference"))
    factor = convert(1.0, "temperature difference", kelvins)
    rows = [
        (
            _WORDS[row.case],
            _degrees(row.maximum, degrees),
            _degrees(row.need_mean, degrees),
            "-" if isnan(row.need_rise) else f"{row.need_rise * factor:.1f}",
            f"{row.hours_above:.0f}",
            f"{row.degree_hours * factor:.0f}",
            _degrees(row.minimum, degrees),
        )
        for row in _distinct(house.cases)
    ]
    headers = (
        "",
        f"hottest [{degrees}]",
        f"at need [{degrees}]",
        f"over outside [{kelvins}]",
        "too hot [h]",
        f"too hot [{kelvins} h]",
        f"coldest [{degrees}]",
    )
    band = show(PEAK_BAND, "temperature difference", system, 0)
    limit = show(house.limit, "temperature", system, 0)
    text = paragraph(
        f"Inside air. At need: mean over the hours of need. Too hot: above {limit},"
        f" the limit of {house.crop}. Believe the hottest within {band}, more or less (solarvent about models)."
    )
    flows = flows_block(house, system)
    return f"{heading('The house: how warm it gets')}\n{table(rows, headers)}\n{text}" + (
        f"\n\n{flows}" if flows else ""
    )


def flows_block(house: HouseSummary, system: str) -> str:
    """Tabulate through which opening and fan the air comes and goes in the hottest hour of need; "" without one."""
    moment = house.moment
    if moment is None:
        return ""
    rows = [
        (
            path.name,
            show(path.inward, "flow", system) if path.inward > 1e-6 else "-",
            show(path.outward, "flow", system) if path.outward > 1e-6 else "-",
            "beside a fan" if path.beside_fan and path.inward > 1e-6 else "",
        )
        for path in moment.paths
    ]
    inside = show(moment.temp_inside, "temperature", system, 0)
    title = heading(f"Where the air goes in the hottest hour: {house.when:%d %B %H:%M}, {inside} inside")
    return f"{title}\n{table(rows, ('', 'comes in', 'goes out', ''))}"


def _distinct(rows: Sequence[CaseSummary]) -> list[CaseSummary]:
    """Leave out fans alone where they are the same as everything together, for want of openers."""
    by_name = {row.case: row for row in rows}
    figures = [[value for key, value in vars(by_name[name]).items() if key != "case"] for name in ("fans", "both")]
    same = figures[0] == figures[1]
    return [row for row in rows if not (same and row.case == "fans")]


def _degrees(value: float, unit: str) -> str:
    return "-" if isnan(value) else f"{convert(value, 'temperature', unit):.0f}"
