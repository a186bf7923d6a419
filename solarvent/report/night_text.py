"""The answer of ``night`` as text, as data and as a section of the page."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import isnan
from typing import Any

from solarvent.base.columns import COLUMNS
from solarvent.base.findings import Finding, Verdict
from solarvent.base.quantities import show
from solarvent.report.charts import night_chart, night_words
from solarvent.report.data import finding_data, to_json, verdict_data
from solarvent.report.layout import (
    Frame,
    Section,
    cautions,
    cell,
    findings_text,
    first_screen,
    headed,
    heading,
    paragraphs,
    table,
    titled,
    verdict_text,
)
from solarvent.simulation.cold_night import TAP_WATER, Night

_COLUMNS = ("temp_air", "temp_inside", "temp_mass")
#: What usual small electric heaters give (common practice, no source). [W]
_SMALL_HEATERS = (200.0, 350.0)
#: Below the air outside by so much a house is said to be colder than it (our choice). [K]
_COLDER = 0.5
_CAUTION = (
    "Never burn gas, paraffin or charcoal in a shut house: carbon monoxide kills people, ethylene plants. An electric"
    " heater goes straight into an outlet with a residual-current switch, not on an extension lead, 1 m from all that"
    " burns, and only where its label allows damp."
)


def render_night(night: Night, verdict: Verdict, findings: Sequence[Finding], frame: Frame) -> str:
    """Write how cold it gets and what holds it; in full hour by hour."""
    record, system = night.run.plan.record, frame.system
    short = paragraphs(short_answer(night, system))
    if not frame.full:
        then = "add --full for the night by hour"
        return first_screen(frame, record.title, verdict, findings, [short], _CAUTION, then)
    blocks = [titled(record.title, frame.note), verdict_text(verdict, system)]
    blocks.append(heading("Findings, worst first") + "\n" + (findings_text(findings) or "none"))
    blocks.append(heading("In short") + "\n" + short)
    blocks.append(heading(f"From {night.times[0]:%d %B %H:%M}") + "\n" + _hours(night, system))
    blocks.append(headed("Cautions", (_CAUTION, *cautions(record))))
    return "\n\n".join(blocks)


def short_answer(night: Night, system: str) -> Iterator[str]:
    """Say in a few sentences what the person came to know."""

    def degrees(value: float) -> str:
        return show(value, "temperature", system)

    def kelvins(value: float) -> str:
        return show(value, "temperature difference", system)

    record = night.run.plan.record
    lowest, outside = night.minimum_inside, float(night.temp_air.min())
    yield (
        f"Lowest inside {degrees(lowest)} with {degrees(outside)} at the lowest outside;"
        f" {degrees(night.minimum_span[0])} to {degrees(night.minimum_span[1])} by how wide the cracks of such houses"
        f" are. Believe it within {kelvins(night.band)}, more or less. "
        + (f"That is {kelvins(lowest)} above frost." if lowest >= 0 else f"That is {kelvins(-lowest)} of frost.")
        + (" It is colder than outside, for the cover radiates to the open sky." if lowest < outside - _COLDER else "")
    )
    if record.heater is not None:
        yield f"The heater of the plan, {record.heater.power:.0f} W, is at work in all this."
    yield (
        f"With everything shut from dusk to dawn, the holes of the fans too: {degrees(night.minimum_shut)}."
        + (f" Without what stores heat: {degrees(night.minimum_bare)}." if record.mass else "")
    )
    yield from _holding(night, degrees, system)
    yield from _storing(night, system, kelvins)
    dew = (night.dew_cover.sum(), night.dew_mass.sum())
    hours = night.run.conditions.step / 3600.0
    yield (
        f"Dew settles on the cover in {dew[0] * hours:.0f} of {len(night.times) * hours:.0f} hours"
        + (f", on the masses in {dew[1] * hours:.0f}" if record.mass else "")
        + ". It drips and feeds mould; a little air in the morning carries it off."
    )


def _holding(night: Night, degrees: Callable[[float], str], system: str) -> Iterator[str]:
    """Say what it takes to hold the wanted temperature."""
    wanted = degrees(night.wanted)
    if night.minimum_inside >= night.wanted:
        yield f"To hold {wanted} nothing more is needed on this night."
        return
    litres = show(night.litres / 1000.0, "volume", system) if system == "us" else f"{night.litres:.0f} L"
    if isnan(night.litres):
        water = "No amount of water that finds room would hold it"
    elif night.litres == 0:
        water = "Shut at night, it is held without more water"
    else:
        water = f"Shut at night, {litres} more water would hold it: {night.litres / 208.2:.1f} sunlit drums of 208 L"
    yield f"To hold {wanted}: {water[0].lower() + water[1:]}."
    planned, shut = (show(watts, "power", system) for watts in (night.heater_watts, night.heater_shut))
    small, large = (f"{watts:.0f} W" for watts in _SMALL_HEATERS)
    energy = f"{night.heater_energy / 1000:.1f} kWh" if night.heater_energy >= 100 else f"{night.heater_energy:.0f} Wh"
    yield (
        f"A heater would need {planned} at the coldest and {energy} in all"
        f" as planned, {shut} with everything shut at night; usual small electric heaters give {small} and {large}"
        + ("." if night.heater_shut <= _SMALL_HEATERS[-1] else ", too little here.")
    )
    share = night.heater_energy / night.panel_energy if night.panel_energy > 0 else float("inf")
    yield (
        "The panel cannot feed it: at night it gives nothing, and on a mean day of that month it makes"
        f" {night.panel_energy:.0f} Wh"
        + (
            f", {1 / share:.0%} of what the heater wants, even if all were kept."
            if share > 1
            else ", for which there is no battery."
        )
    )


def _storing(night: Night, system: str, kelvins: Callable[[float], str]) -> Iterator[str]:
    """Say how long stored heat lasts, and when new drums are of use."""
    if not len(night.spell):
        return
    after = night.faded_after
    last = "it has faded to nothing" if after is not None else "what is left is only day against night"
    yield (
        f"In a spell of dull days the masses keep the coldest hour {kelvins(night.spell[0])} warmer on the first night,"
        f" {kelvins(night.spell[2])} on the third and {kelvins(night.spell[-1])} on the tenth:"
        f" {last if after is None else f'after {after} nights {last}'}."
    )
    if isnan(night.filling_days):
        yield "Newly filled masses need more than a month to settle."
    else:
        yield (
            f"Filled with water of {show(TAP_WATER, 'temperature', system, 0)} a month before, they are in step with"
            f" the house after {night.filling_days:.1f} days."
        )


def _steps(night: Night) -> Iterator[tuple[Any, ...]]:
    """Yield each step: time, temperatures outside, inside, of the masses and inside if shut [degC], dew on both."""
    return zip(
        night.times, night.temp_air, night.temp_inside, night.temp_mass, night.temp_shut, night.dew_cover,
        night.dew_mass, strict=True,
    )  # fmt: skip


def _hours(night: Night, system: str) -> str:
    """Tabulate the hours."""
    rows = [
        (
            f"{time:%d %H:%M}",
            *(cell(name, value, system) for name, value in zip(_COLUMNS, values, strict=True)),
            cell("temp_inside", shut, system),
            ("cover" if on_cover else "") + (" masses" if on_mass else ""),
        )
        for time, *values, shut, on_cover, on_mass in _steps(night)
    ]
    unit = COLUMNS["temp_inside"].unit(system)
    headers = ("from", *(COLUMNS[name].heading(system) for name in _COLUMNS), f"if shut [{unit}]", "dew on")
    return table(rows, headers)


def night_json(night: Night, verdict: Verdict, findings: Sequence[Finding]) -> str:
    """Write the answer as JSON, schema ``solarvent.night/1``, in SI units."""
    return to_json(
        {
            "schema": "solarvent.night/1",
            "title": night.run.plan.record.title,
            "verdict": verdict_data(verdict),
            "findings": finding_data(findings),
            "hours": [
                {
                    "time": time.isoformat(),
                    "temp_air": float(air),
                    "temp_inside": float(inside),
                    "temp_mass": float(mass),
                    "temp_shut": float(shut),
                    "dew_cover": bool(on_cover),
                    "dew_mass": bool(on_mass),
                }
                for time, air, inside, mass, shut, on_cover, on_mass in _steps(night)
            ],
            "minimum_inside": night.minimum_inside,
            "minimum_inside_low": night.minimum_span[0],
            "minimum_inside_high": night.minimum_span[1],
            "minimum_shut": night.minimum_shut,
            "minimum_without_mass": night.minimum_bare,
            "frost_margin": night.minimum_inside,
            "hold": night.wanted,
            "heater_watts": night.heater_watts,
            "heater_energy": night.heater_energy,
            "heater_watts_shut": night.heater_shut,
            "panel_energy": night.panel_energy,
            "panel_could_feed_it": False,
            "litres": night.litres,
            "dull_spell": [float(value) for value in night.spell],
            "filling_days": night.filling_days,
            "band": night.band,
            "residual": night.residual,
        }
    )  # fmt: skip


def night_csv(night: Night) -> str:
    """Write the hours as CSV."""
    lines = ["time,temp_air [degC],temp_inside [degC],temp_mass [degC],temp_shut [degC],dew_cover,dew_mass"]
    for time, *values, on_cover, on_mass in _steps(night):
        numbers = ",".join(f"{value:.3f}" for value in values)
        lines.append(f"{time.isoformat()},{numbers},{int(on_cover)},{int(on_mass)}")
    return "\n".join(lines)


def night_section(night: Night | None, findings: Sequence[Finding], system: str) -> Section | None:
    """Show the coldest night; None if the weather is too short to have one."""
    if night is None:
        return None
    lines = [f"{finding.text} {finding.do}" for finding in findings if finding.level != "note"]
    lines += short_answer(night, system)
    return Section("night", "The coldest night", lines, night_chart(night, system), night_words(night, system))
