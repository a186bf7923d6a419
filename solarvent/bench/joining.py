"""Joining step by step: first the sign at every far end, then the joints from the fans to the panel."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.base.sentences import listed
from solarvent.bench.preparation import PHASES, Bench, Step, panel_alone
from solarvent.bench.probes import probe_at, volt_setting
from solarvent.electrical.bands import TYPICAL
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Splitter


def far_ends(bench: Bench) -> Iterator[Step]:
    """Carry the panel's voltage outwards, part by part, and read its sign each time, with no fan joined."""
    harness, phase = bench.harness, PHASES[2]
    volts = {
        panel.id: panel_alone(bench.plan, panel, bench.irradiance, bench.temp_cell, TYPICAL)[0]
        for panel in bench.plan.record.panel
    }
    for name in _outwards(bench):
        part = harness.parts[name]
        if not isinstance(part, Lead | Splitter):
            continue
        expected, source = _arriving(bench, name, volts)
        last = [one for one in harness.after(name) if isinstance(harness.parts[one], Fan)]
        where = f", the last plug before {', '.join(last)}" if last else ""
        lost = " less what its diode takes" if isinstance(part, Lead) and part.diode else ""
        connector = part.outlet if isinstance(part, Lead) else part.branch
        if connector is not None and name in bench.plus:
            connector = connector.model_copy(update={"positive": bench.plus[name]})
        ends = "each of its ends" if len(harness.after(name)) > 1 else "its far end"
        yield Step(
            phase,
            f"Put {name} on {_called(bench, harness.before(name))}, no fan joined, and meter at {ends}{where}.",
            probe_at(bench.plan, connector, volt_setting(1.1 * expected)),
            f"{expected:.1f} V as at {source}{lost}, the same sign{_known(bench, last)}",
            f"within 0.1 V of the reading at {source} in the same minute",
            f"The sign has turned: {name} crosses the poles. Tag it, put it right, and meter again."
            + (" Do not join the fan before." if last else ""),
        )


def _arriving(bench: Bench, name: str, volts: dict[str, float]) -> tuple[float, str]:
    """Voltage with no fan joined that arrives at a part [V], and what gives it in words."""
    harness, part = bench.harness, bench.harness.parts[name]
    in_series = isinstance(part, Splitter) and part.arrangement == "series" and len(harness.before(name)) > 1
    expected = (sum if in_series else max)(volts[panel] for panel in harness.upstream(name) if panel in volts)
    source = "the panel"
    for before in harness.upstream(name):
        if isinstance(converter := harness.parts[before], Converter):
            boosts = converter.kind == "boost"
            expected = converter.output_voltage if boosts else min(converter.output_voltage, expected)
            source = "the panel's socket" if converter.built_in else before
    return expected, source


def _known(bench: Bench, fans: list[str]) -> str:
    """Add what the plan knows of the poles at the last plug before some fans."""
    poles = {bench.poles[name] for name in fans if name in bench.poles}
    if "reversed" in poles:
        return "; by the plan + would meet the - of the fan here, so put that right first"
    if "unknown" in poles:
        return "; the plan does not know the poles here, so note which contact is + and hold it against the fan's"
    return "; by the plan + meets the + of the fan here" if poles else ""


def joints(bench: Bench) -> Iterator[Step]:
    """Join everything with the panel covered, the panel last."""
    harness, phase = bench.harness, PHASES[3]
    yield Step(
        phase,
        "Cover the panel again, and take all leads off it.",
        expect="nothing live while you work",
        otherwise="A plug that is parted in the sun draws an arc and pits its contacts.",
    )
    snug = "snug: it does not fall off or rattle when you pull it lightly"
    loose = "Loose: perhaps a 2.5 mm plug on a 2.1 mm pin, or a bad crimp. It will cut out in the wind."
    pairs = []
    for join in harness.joins:
        before = harness.parts[join.source.part]
        if isinstance(harness.parts[join.sink.part], Fan) and isinstance(before, Lead | Splitter):
            pairs.append(f"{join.sink.part} on {join.source.part}")
    if pairs:
        yield Step(phase, f"Join each fan to its lead, red to +: {listed(pairs)}.", "", snug, "", loose)
    for name in reversed(_outwards(bench)):
        behind = [one for one in harness.after(name) if not isinstance(harness.parts[one], Fan)]
        part = harness.parts[name]
        if behind and not isinstance(part, Panel) and not (isinstance(part, Converter) and part.built_in):
            yield Step(phase, f"Join {listed(behind)} to {name}, as the tags say.", "", snug, "", loose)
    for panel in bench.plan.record.panel:
        behind, to = harness.after(panel.id), bench.called(panel)
        if (regulator := bench.built_in(panel)) is not None:
            behind, to = harness.after(regulator.id), f"the socket of {to}"
        yield Step(
            phase,
            f"Last of all join {listed(behind)} to {to}, still covered.",
            expect="every tag at + meets a tag at +",
            otherwise="If in doubt, take the fans off and read the sign at the last plugs once more.",
        )


def _called(bench: Bench, names: list[str]) -> str:
    """Name parts in a sentence."""
    return listed([bench.called(name) if isinstance(bench.harness.parts[name], Panel) else name for name in names])


def _outwards(bench: Bench) -> list[str]:
    """Parts from the panels outwards, each after everything that feeds it."""
    from graphlib import TopologicalSorter

    names = bench.harness.parts
    return list(TopologicalSorter({name: bench.harness.before(name) for name in names}).static_order())
