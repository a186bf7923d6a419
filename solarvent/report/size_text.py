"""The sizing for people, and as data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from math import isnan
from typing import Any

from solarvent.base.findings import sort_findings
from solarvent.base.quantities import show
from solarvent.report.data import finding_data, to_json
from solarvent.report.layout import CAUTIONS, clock, heading, paragraph, table
from solarvent.studies.size_designs import STRAIGHT, Design
from solarvent.studies.size_option import SizedDesign, Sizing

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def render_size(title: str, found: Sizing, system: str, note: str = "") -> str:
    """Write the options, the choice and why, in at most 80 columns; the note under the title."""
    blocks = [paragraph(f"Sizing for: {title[:200]}")]
    if note:
        blocks[0] += "\n" + paragraph(note)
    blocks += [paragraph(text) for text in found.notes]
    blocks.append(heading("Choice") + "\n" + "\n".join(_choice(found, system)))
    for word in dict.fromkeys(option.design.converter for option in found.options):
        chosen = [option for option in found.options if option.design.converter == word]
        blocks.append(_by_converter(word, chosen, found))
    blocks.append(_hours(found))
    blocks.append(_findings(found))
    blocks.append(heading("How to read this") + "\n" + "\n".join(paragraph(text) for text in _READING))
    blocks.append(heading("Cautions") + "\n" + "\n".join(paragraph(text) for text in CAUTIONS))
    return "\n\n".join(block for block in blocks if block)


_READING = (
    "fits: no stop, and the target is met often enough. short: safe, but not often enough at the target. stop: do not"
    " build it so. A star marks the options that no other one beats in watts (or cost), plainness and hours at once.",
    "fan max: at the turning fan in cold bright sun, with a panel that keeps its promise. starts at: light on the"
    " panel's cells at which the last fan starts. Plates are taken at their word.",
)


def _choice(found: Sizing, system: str) -> Iterator[str]:
    """Say what to buy, what it does, and what else comes into question."""
    target = f"Target: {found.target.words}, in {found.enough:.0%} of the needed hours."
    if found.choice is None:
        yield paragraph("None: every option says stop. Use other fans, fewer fans, or another converter.")
        yield paragraph(target)
        return
    option = found.options[found.choice]
    yield paragraph(f"{_name(option)}: {option.reason}.")
    if not found.choice_meets:
        yield paragraph("It does not meet the target often enough; it comes nearest with the least.")
    clear, dull = (option.by_month_words(found.month, name) for name in ("clear", "overcast"))
    yield paragraph(
        f"On the mean day of {_MONTHS[found.month - 1]} the fans turn {clear} under a clear sky and {dull} when it is"
        f" overcast. In the {option.hours_needed:.0f} needed hours they turn for"
        f" {option.hours_running:.0f} h, move {show(option.mean_flow, 'flow', system)} on average and use"
        f" {option.energy_used:.0f} Wh. At the fan"
        f" {option.fan_voltage_max:.1f} V at the most; its rated maximum is {option.fan_voltage_limit:g} V."
    )
    if (nights := option.nights) is not None and nights.wanted_nights:
        yield paragraph(
            f"The battery lasts {nights.wanted_nights - nights.short_nights} of the {nights.wanted_nights} nights on"
            " which the fans are wanted in the dark."
        )
    if option.hours_line_open:
        yield paragraph(f"In {option.hours_line_open:.0f} of these hours it is too cool inside for the thermostat.")
    yield paragraph(target)


def _name(option: SizedDesign) -> str:
    """Say what a design is."""
    design = option.design
    between = f", {design.converter} between" if design.converter_part else ""
    watts = " + ".join(f"{value:.0f}" if value > 20 else f"{value:.3g}" for value in design.every_watts)
    panels = "panels" if len(design.every_watts) > 1 else "panel"
    return f"{watts} W {panels}, {_fans(design)}{between}"


def _fans(design: Design) -> str:
    """Name the fans of a design, with how many of each kind."""
    kinds = Counter(fan.name or fan.id for fan in design.every_fan)
    return " + ".join(f"{count} x {name}" for name, count in kinds.items())


def _by_converter(word: str, options: list[SizedDesign], found: Sizing) -> str:
    """List the options of one way to meet the voltage."""
    first = options[0].design
    straight = "Straight on the panel" if options[0].nights is None else "On the battery"
    named = {STRAIGHT: straight}.get(word, word[0].upper() + word[1:])
    if first.own is None:
        named += f": {first.fan.name}"
    title = heading(named) + ("" if first.own is None else f"\n{paragraph(_fans(first))}")
    many, sizes = (len({getattr(option.design, key) for option in found.options}) for key in ("fans", "panel_watts"))
    places = len({(option.design.wire, option.design.tilt, option.design.azimuth) for option in found.options}) > 1
    lines = []
    for option in options:
        design = option.design
        mark = "*" if option.pareto else " "
        taken = "->" if found.choice is not None and found.options[found.choice] is option else "  "
        head = f"{taken}{mark}"
        head += f"{design.panel_watts:4g} W" if sizes > 1 or many == 1 else ""
        head += f" {design.fans:2d} fan{'s' if design.fans > 1 else ' '}" if many > 1 else ""
        head += f"  {design.wire}, {design.tilt:g}/{design.azimuth:g} deg" if places else ""
        never = isnan(option.start_irradiance)
        starts = "never starts" if never else f"starts at {option.start_irradiance:.0f} W/m2"
        if option.nights is not None and not never:
            lasted = option.nights.wanted_nights - option.nights.short_nights
            starts = f"battery lasts {lasted} of {option.nights.wanted_nights} nights"
        cost = "" if isnan(option.cost) else f", costs {option.cost:g}"
        figures = (
            f"at target {option.hours_at_target:.0f} of {option.hours_needed:.0f} h, fan max"
            f" {option.fan_voltage_max:.1f} V, {starts}{cost}"
        )
        lines.append(paragraph(f"{option.verdict.upper():5s} {figures}", " " * 17, f"{head:9s}  "))
        lines.append(paragraph(option.reason, " " * 17))
    return title + "\n" + "\n".join(lines)


def _hours(found: Sizing) -> str:
    """Tabulate from when to when the fans turn under each sky."""
    skies = list(found.options[0].starts)
    rows = []
    for option in found.options:
        spans = [
            "-" if isnan(option.starts[name]) else f"{clock(option.starts[name])}-{clock(option.stops[name])}"
            for name in skies
        ]
        design = option.design
        many = f" {design.fans} x" if len({one.design.fans for one in found.options}) > 1 else ""
        rows.append((f"{design.panel_watts:g} W{many} {design.converter}", *spans))
    title = heading(f"Fans turn from first start to last stop, mean day of {_MONTHS[found.month - 1]}")
    return f"{title}\n{table(rows, ('', *skies))}"


def _findings(found: Sizing) -> str:
    """Write each advice once, with the kinds of finding that ask for it, worst first."""
    kinds: dict[tuple[str, str], str] = {}
    for finding in sort_findings(finding for option in found.options for finding in option.findings):
        kinds.setdefault((finding.level, finding.code), finding.do)
    if not kinds:
        return ""
    asking: dict[str, list[str]] = {}
    for (level, code), do in kinds.items():
        asking.setdefault(do, []).append(f"{level.upper()}  {code}")
    lines = [paragraph(f"{', '.join(codes)}: {do}", "      ", "") for do, codes in asking.items()]
    return heading("What the findings ask for") + "\n" + "\n".join(lines)


def size_data(title: str, found: Sizing) -> dict[str, Any]:
    """Give the sizing as plain data, schema ``solarvent.size/1``."""
    choice = None
    if found.choice is not None:
        option = found.options[found.choice]
        choice = {
            "index": found.choice,
            "fans": option.design.fans,
            "panel_watts": option.design.panel_watts,
            "converter": option.design.converter,
            "meets_target": found.choice_meets,
            "reason": option.reason,
        }
    return {
        "schema": "solarvent.size/1",
        "title": title,
        "target": found.target.words,
        "share_wanted": found.enough,
        "month": found.month,
        "notes": list(found.notes),
        "options": [_option_data(option) for option in found.options],
        "choice": choice,
    }


def _option_data(option: SizedDesign) -> dict[str, Any]:
    design = option.design

    def times(values: dict[str, float]) -> dict[str, str | None]:
        return {name: None if isnan(value) else clock(value) for name, value in values.items()}

    return {
        "fans": design.fans,
        "fan": design.fan.part,
        "fan_parts": [fan.part for fan in design.every_fan],
        "panel_watts": design.panel_watts,
        "all_panel_watts": design.every_watts,
        "as_wired": design.own is not None,
        "converter": design.converter,
        "converter_part": design.converter_part,
        "wire": design.wire,
        "surface_tilt": design.tilt,
        "surface_azimuth": design.azimuth,
        "starts": times(option.starts),
        "stops": times(option.stops),
        "by_month": {
            str(month): {
                name: None if isnan(span[0]) else [clock(span[0]), clock(span[1])] for name, span in skies.items()
            }
            for month, skies in option.by_month.items()
        },
        "hours_needed": option.hours_needed,
        "hours_at_target": option.hours_at_target,
        "share_at_target": option.share_at_target,
        "hours_running": option.hours_running,
        "hours_line_open": option.hours_line_open,
        **(
            {}
            if option.nights is None
            else {"nights_wanted": option.nights.wanted_nights, "nights_short": option.nights.short_nights}
        ),
        "mean_flow": option.mean_flow,
        "energy_used": option.energy_used,
        "fan_voltage_max": option.fan_voltage_max,
        "fan_voltage_limit": option.fan_voltage_limit,
        "start_irradiance": option.start_irradiance,
        "run_down_irradiance": option.run_down_irradiance,
        "cost": option.cost,
        "pareto": option.pareto,
        "verdict": option.verdict,
        "reason": option.reason,
        "limit": option.limit,
        "findings": finding_data(option.findings),
    }


def size_json(title: str, found: Sizing) -> str:
    """Write the sizing as JSON, in SI units."""
    return to_json(size_data(title, found))


_FIGURES = ("hours_needed", "hours_at_target", "hours_running", "hours_line_open", "mean_flow", "energy_used")


def size_csv(found: Sizing) -> str:
    """Write the options as CSV, one a line; the heading names the SI units."""
    import csv
    import io

    skies = list(found.options[0].starts)
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(
        ["fans", "fan", "panel_watts [W]", "converter", "wire", "surface_tilt [deg]", "surface_azimuth [deg]"]
        + [f"{what} {name}" for name in skies for what in ("starts", "stops")]
        + ["hours_needed [h]", "hours_at_target [h]", "hours_running [h]"]
        + ["hours_line_open [h]", "mean_flow [m3/s]", "energy_used [Wh]"]
        + ["fan_voltage_max [V]"]
        + ["start_irradiance [W/m2]", "run_down_irradiance [W/m2]", "cost", "pareto", "verdict", "reason"]
    )
    for option in found.options:
        data, design = _option_data(option), option.design
        writer.writerow(
            [design.fans, design.fan.part, design.panel_watts, design.converter, design.wire, design.tilt]
            + [design.azimuth]
            + [data[what][name] for name in skies for what in ("starts", "stops")]
            + [round(data[name], 6) for name in _FIGURES]
            + [round(option.fan_voltage_max, 6)]
            + ["" if isnan(value) else round(value, 6)
               for value in (option.start_irradiance, option.run_down_irradiance, option.cost)]
            + [option.pareto, option.verdict, option.reason]
        )  # fmt: skip
    return file.getvalue().rstrip("\n")
