"""What is wrong with several panels or fans together: in series, unlike, or without fuses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from solarvent.base.findings import Finding
from solarvent.base.sentences import listed
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Splitter
from solarvent.wiring.polarity import PolarityTrace
from solarvent.wiring.sides import side_of

#: Spread of the working voltages of panels side by side (common practice, no source). [-]
UNLIKE_WARN, UNLIKE_STOP = 0.10, 0.20


def source_findings(trace: PolarityTrace) -> Iterator[Finding]:
    """Report panels in series, unlike panels side by side or three without fuses, and fans in series."""
    for name, part in trace.parts.items():
        if not isinstance(part, Splitter):
            continue
        feeding = [join.source.part for join in trace.before(name)]
        ahead = [join.sink.part for join in trace.joins if join.source.part == name]
        if len(feeding) > 1:
            panels = [panel for panel in _upstream(trace, name) if isinstance(trace.parts[panel], Panel)]
            if part.arrangement == "series":
                yield from _in_series(trace, name, panels)
            else:
                yield from _unlike(trace, name, panels)
                yield from _unfused(trace, feeding)
        if len(ahead) > 1 and part.arrangement == "series":
            text = "Fans in series do not share the voltage evenly: one hunts or takes too much while the other stalls."
            do = "Join fans side by side (parallel), or use one fan of twice the voltage."
            yield Finding("warn", "fans-in-series", name, text, do)


def _in_series(trace: PolarityTrace, name: str, panels: list[str]) -> Iterator[Finding]:
    """Hold the sum of the open-circuit voltages against the weakest part that is fed."""
    volts = sum(_voltage(trace, panel, "open") for panel in panels)
    fed = {part: limit for part in _downstream(trace, name) if (limit := _limit(trace, part)) is not None}
    if not fed or volts <= min(fed.values()):
        return
    weakest = min(fed, key=lambda part: fed[part])
    text = (
        f"{listed(panels)} are in series here: their voltages add up to {volts:.0f} V with nothing running, and"
        f" the rated maximum of {weakest} is {fed[weakest]:g} V."
    )
    yield Finding("stop", "panels-in-series", name, text, "Join them side by side, with a parallel splitter.",
                  volts, fed[weakest], "V")  # fmt: skip


def _unlike(trace: PolarityTrace, name: str, panels: list[str]) -> Iterator[Finding]:
    """Compare the working voltages of panels that are side by side."""
    volts = {panel: volt for panel in panels if (volt := _voltage(trace, panel, "working"))}
    if len(volts) < 2:
        return
    low, high = min(volts, key=lambda panel: volts[panel]), max(volts, key=lambda panel: volts[panel])
    spread = 1 - volts[low] / volts[high]
    if spread > UNLIKE_WARN:
        severe = spread > UNLIKE_STOP
        text = (
            f"{high} works best at {volts[high]:.3g} V and {low} at {volts[low]:.3g} V ({spread:.0%} less): side by"
            " side they cannot both do so, and the lower one holds the other one down."
        )
        yield Finding("stop" if severe else "warn", "panels-unlike", name, text,
                      "Join alike panels only, or give each fan a panel of its own.",
                      spread, UNLIKE_STOP if severe else UNLIKE_WARN)  # fmt: skip


def _unfused(trace: PolarityTrace, feeding: list[str]) -> Iterator[Finding]:
    """Count the panels that could feed a fault in another one."""
    bare = [panel for panel in feeding if not _protected(trace, panel)]
    if len(feeding) >= 3 and bare:
        text = f"{len(feeding)} panels side by side: if one fails, the others push their current backwards through it."
        yield Finding("warn", "panels-without-fuse", bare[0], text,
                      "Put a fuse, or a blocking diode, in the line of each panel.")  # fmt: skip


def _voltage(trace: PolarityTrace, panel: str, which: str) -> float:
    """Look up a voltage of a panel; 0 where nothing says it. [V]"""
    side = side_of(trace.parts[panel], None, trace.families)
    return float(getattr(side, which)) if side else 0.0


def _limit(trace: PolarityTrace, name: str) -> float | None:
    """Give the voltage that a part stands; None if it is not a matter of it. [V]"""
    part = trace.parts[name]
    if isinstance(part, Fan):
        return part.maximum_voltage
    return part.maximum_input if isinstance(part, Converter) else None


def _protected(trace: PolarityTrace, name: str) -> bool:
    """Tell whether a fuse or a diode lies between a panel and a part."""
    part = trace.parts[name]
    own = isinstance(part, Lead) and (part.fuse is not None or part.diode is not None)
    before: Iterable[str] = (join.source.part for join in trace.before(name))
    return own or any(_protected(trace, other) for other in before)


def _upstream(trace: PolarityTrace, name: str) -> list[str]:
    """Name everything before a part, once each."""
    names = dict.fromkeys(
        part for join in trace.before(name) for part in (join.source.part, *_upstream(trace, join.source.part))
    )
    return list(names)


def _downstream(trace: PolarityTrace, name: str) -> list[str]:
    """Name everything behind a part, up to the next converter."""
    names: list[str] = []
    for join in trace.joins:
        if join.source.part == name:
            names.append(join.sink.part)
            part = trace.parts[join.sink.part]
            if not isinstance(part, Converter) or part.kind == "clamp":
                names += _downstream(trace, join.sink.part)
    return list(dict.fromkeys(names))
