"""The sizing for people, one screen or in full, and as data; and what other panels would change, for the page."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Iterator, Sequence
from math import isnan
from typing import Any

from solarvent.base.columns import COLUMNS
from solarvent.base.findings import sort_findings
from solarvent.base.quantities import show
from solarvent.plan.plan_record import PlanRecord
from solarvent.report.data import finding_data, to_json, verdict_data
from solarvent.report.layout import (
    Frame,
    Section,
    cautions,
    cell,
    clock,
    first_screen,
    headed,
    heading,
    paragraph,
    paragraphs,
    table,
    titled,
    verdict_text,
)
from solarvent.studies.size_designs import STRAIGHT, Design
from solarvent.studies.size_option import SizedDesign, Sizing


def render_size(record: PlanRecord, found: Sizing, frame: Frame) -> str:
    """Write the choice and why, then what each option comes to; in full every option with its reason and its hours."""
    title, notes = f"Sizing for: {record.title}", paragraphs(found.notes)
    choice = "\n".join(_choice(found, frame))
    verdict = found.verdict
    if not frame.full:
        then = "add --full for every option with its reason, and from when to when its fans turn"
        blocks = [notes, choice, _matrix(found)]
        return first_screen(frame, title, verdict, found.findings, blocks, cautions(record)[0], then)
    blocks = [titled(title, frame.note), verdict_text(verdict, frame.system), notes]
    blocks.append(heading("Choice") + "\n" + choice)
    for word in dict.fromkeys(option.design.converter for option in found.options):
        chosen_way = [option for option in found.options if option.design.converter == word]
        blocks.append(_by_converter(word, chosen_way, found))
    blocks.append(_hours(found))
    blocks.append(_findings(found))
    blocks.append(headed("How to read this", _READING))
    blocks.append(headed("Cautions", cautions(record)))
    return "\n\n".join(block for block in blocks if block)


_MOST_ROWS = 14


def _matrix(found: Sizing) -> str:
    """Tabulate the verdicts: a row for each size, a column for each way to meet the voltage of the fans."""
    ways = list(dict.fromkeys(option.design.converter for option in found.options))
    by_size: dict[str, dict[str, str]] = {}
    for option in found.options:
        mark = "> " if option is found.chosen else ""
        share = "" if option.verdict == "stop" or isnan(option.share_at_target) else f" {option.share_at_target:.0%}"
        row = by_size.setdefault(_size_words(option.design, found), {})
        row[option.design.converter] = f"{mark}{option.verdict.upper()}{share}"
    rows = [(size, *(row.get(way, "-") for way in ways)) for size, row in by_size.items()]
    left = f"\nand {len(rows) - _MOST_ROWS} more sizes: --full" if len(rows) > _MOST_ROWS else ""
    headers = ("", *("straight" if way == STRAIGHT else way for way in ways))
    words = "Share of the needed hours at the target, by what stands between panel and fans. STOP: do not build it so."
    words += " >: the choice." if found.chosen else ""
    words += " Buck: a converter that steps the voltage down." if any("buck" in way for way in ways) else ""
    return f"{table(rows[:_MOST_ROWS], headers)}{left}\n{paragraph(words)}"


def _size_words(design: Design, found: Sizing) -> str:
    """Name what tells a design from others that meet the voltage in the same way."""
    many = len({option.design.fans for option in found.options}) > 1
    words = f"{design.panel_watts:.3g} W" + (f", {design.fans} fan{'s' if design.fans > 1 else ''}" if many else "")
    return words + (f"  {design.wire}, {design.tilt:g}/{design.azimuth:g} deg" if _has_places(found) else "")


def _has_places(found: Sizing) -> bool:
    """Tell whether wires or ways to face were tried too."""
    return len({(option.design.wire, option.design.tilt, option.design.azimuth) for option in found.options}) > 1


_READING = (
    "fits: no stop, and the target is met often enough. short: safe, but not often enough at the target. stop: do not"
    " build it so. A star marks the options that no other one beats in watts (or cost), plainness and hours at once.",
    "fan max: at the turning fan in cold bright sun, with a panel that keeps its promise. starts at: light on the"
    " panel's cells at which the last fan starts. Plates are read as in a run. Air: with the house as warm as the"
    " target allows; of the plan itself as its own warmth draws it, as a run says.",
)


def _choice(found: Sizing, frame: Frame) -> Iterator[str]:
    """Say what to buy, what it does, and what else comes into question."""
    target = f"Target: {found.target.words}, in {found.enough:.0%} of the hours that want air."
    option = found.chosen
    if option is None:
        yield paragraph(target)
        return
    clear, dull = (option.by_month_words(found.month, name) for name in ("clear", "overcast"))
    text = (
        f"On the mean day of {month_name[found.month]} the fans turn {clear} under a clear sky and {dull} when it is"
        " overcast."
    )
    if frame.full:
        text += (
            f" In the {option.hours_needed:.0f} needed hours they turn for {option.hours_running:.0f} h, move"
            f" {show(option.mean_flow, 'flow', frame.system)} on average and use {option.energy_used:.0f} Wh."
        )
    yield paragraph(
        f"{text} At the fan {option.fan_voltage_max:.1f} V at the most; its rated maximum is"
        f" {option.fan_voltage_limit:g} V."
    )
    if (nights := option.nights) is not None and nights.wanted_nights:
        yield paragraph(
            f"The battery lasts {nights.lasted_nights} of the {nights.wanted_nights} nights on"
            " which the fans are wanted in the dark."
        )
    if option.hours_line_open:
        yield paragraph(f"In {option.hours_line_open:.0f} of these hours it is too cool inside for the thermostat.")
    yield paragraph(target)


def _by_converter(word: str, options: list[SizedDesign], found: Sizing) -> str:
    """List the options of one way to meet the voltage."""
    first = options[0].design
    straight = "Straight on the panel" if options[0].nights is None else "On the battery"
    named = {STRAIGHT: straight}.get(word, word[0].upper() + word[1:])
    if first.converter_name:
        named += f": {first.converter_name}"
    if first.own is None:
        named += f", {first.fan.name}" if first.converter_name else f": {first.fan.name}"
    title = heading(named) + ("" if first.own is None else f"\n{paragraph(first.fan_words)}")
    many, sizes = (len({getattr(option.design, key) for option in found.options}) for key in ("fans", "panel_watts"))
    places = _has_places(found)
    lines = []
    for option in options:
        design = option.design
        mark = "*" if option.pareto else " "
        taken = "->" if option is found.chosen else "  "
        head = f"{taken}{mark}"
        head += f"{design.panel_watts:4.3g} W" if sizes > 1 or many == 1 else ""
        head += f" {design.fans:2d} fan{'s' if design.fans > 1 else ' '}" if many > 1 else ""
        head += f"  {design.wire}, {design.tilt:g}/{design.azimuth:g} deg" if places else ""
        # A battery has no light to start at; its measure is the nights that it lasts.
        never = isnan(option.start_irradiance)
        starts = "never starts" if never else f"starts at {option.start_irradiance:.0f} W/m2"
        if option.nights is not None and not never:
            starts = f"battery lasts {option.nights.lasted_nights} of {option.nights.wanted_nights} nights"
        cost = "" if isnan(option.cost) else f", costs {option.cost:g}"
        figures = (
            f"at {found.target.short} {option.hours_at_target:.0f} of {option.hours_wanting:.0f} h, fan max"
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
        rows.append((f"{design.panel_watts:.3g} W{many} {design.converter}", *spans))
    title = heading(f"Fans turn from first start to last stop, mean day of {month_name[found.month]}")
    return f"{title}\n{table(rows, ('', *skies))}"


def _findings(found: Sizing) -> str:
    """Write each advice once, with the kinds of finding that ask for it, worst first."""
    asking: dict[str, dict[str, None]] = {}
    for finding in sort_findings(finding for option in found.options for finding in option.findings):
        if finding.level != "note":
            asking.setdefault(finding.do, {})[f"{finding.level.upper()}  {finding.code}"] = None
    if not asking:
        return ""
    lines = [paragraph(f"{', '.join(codes)}: {do}", "      ", "") for do, codes in asking.items()]
    return heading("What the findings ask for") + "\n" + "\n".join(lines)


def size_data(title: str, found: Sizing) -> dict[str, Any]:
    """Give the sizing as plain data, schema ``solarvent.size/1``."""
    choice = None
    if (option := found.chosen) is not None:
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
        "verdict": verdict_data(found.verdict),
        "target": found.target.words,
        "share_wanted": found.enough,
        "month": found.month,
        "notes": list(found.notes),
        "options": [_option_data(option, found) for option in found.options],
        "choice": choice,
    }


def _option_data(option: SizedDesign, found: Sizing) -> dict[str, Any]:
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
        "target": found.target.words,
        "share_wanted": found.enough,
        "as_planned": design.as_planned,
        "hours_needed": option.hours_needed,
        "hours_wanting": option.hours_wanting,
        "hours_at_target": option.hours_at_target,
        "hours_at_speed": option.hours_at_speed,
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


_FIGURES = ("hours_needed", "hours_wanting", "hours_at_target", "hours_at_speed", "hours_running", "hours_line_open",
            "mean_flow", "energy_used")  # fmt: skip


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
        + ["hours_needed [h]", "hours_wanting [h]", "hours_at_target [h]", "hours_at_speed [h]", "hours_running [h]"]
        + ["hours_line_open [h]", "mean_flow [m3/s]", "energy_used [Wh]"]
        + ["fan_voltage_max [V]"]
        + ["start_irradiance [W/m2]", "run_down_irradiance [W/m2]", "cost", "pareto", "verdict", "reason"]
        + ["target", "share_wanted", "choice"]
    )
    for number, option in enumerate(found.options):
        data, design = _option_data(option, found), option.design
        writer.writerow(
            [design.fans, design.fan.part, design.panel_watts, design.converter, design.wire, design.tilt]
            + [design.azimuth]
            + [data[what][name] for name in skies for what in ("starts", "stops")]
            + [round(data[name], 6) for name in _FIGURES]
            + [round(option.fan_voltage_max, 6)]
            + ["" if isnan(value) else round(value, 6)
               for value in (option.start_irradiance, option.run_down_irradiance, option.cost)]
            + [option.pareto, option.verdict, option.reason, found.target.words, found.enough, number == found.choice]
        )  # fmt: skip
    return file.getvalue().rstrip("\n")


def panels_section(choices: Sequence[SizedDesign], system: str) -> Section | None:
    """Show what smaller and larger panels would change; None if no watts are known."""
    if not choices:
        return None
    air = COLUMNS["mean_flow"].heading(system)
    headers = ("panel [W]", "all start at [W/m2]", "turn down to [W/m2]", air, "air enough", "most volts", "verdict")
    fitting = next((choice for choice in choices if choice.verdict == "fits"), None)
    safe = next((choice for choice in choices if choice.verdict != "stop"), None)
    own = next((choice for choice in choices if choice.design.as_planned), None)
    lines = [
        "The same fans and wires on another panel, judged as the plan is. Air: the mean in the hours of need. Air"
        " enough: share of the hours that want air in which the fans move it. Most volts: at the fan nearest to its"
        " limit, in the coldest bright hour, and its rated maximum."
    ]
    if safe is None:
        lines.insert(0, "No panel of the usual sizes suits this plan: see what the findings ask for.")
    elif fitting is None:
        text = "No panel lets these fans move enough air; the smallest with which the plan can be built is"
        lines.insert(0, f"{text} {_watts(safe)}.")
    elif own is None or own.verdict != "fits":
        lines.insert(0, f"The smallest panel with which these fans move enough air is {_watts(fitting)}.")
    return Section("panels", "Other panels", lines, headers=headers, rows=[_row(choice, system) for choice in choices])


def _watts(choice: SizedDesign) -> str:
    return " + ".join(f"{watts:.3g}" for watts in choice.design.every_watts) + " W"


def _row(choice: SizedDesign, system: str) -> list[str]:
    start, stop = (
        "never" if isnan(light) else f"{light:.0f}" for light in (choice.start_irradiance, choice.run_down_irradiance)
    )
    return [
        _watts(choice).removesuffix(" W") + (" *" if choice.design.as_planned else ""),
        start,
        stop,
        cell("mean_flow", choice.mean_flow, system),
        "-" if isnan(choice.share_at_target) else f"{choice.share_at_target:.0%}",
        f"{choice.fan_voltage_max:.1f} of {choice.fan_voltage_limit:.1f}",
        choice.verdict,
    ]
