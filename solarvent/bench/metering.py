"""What a meter reads on a plan's circuits; readings as a person writes them, and what they put into the plan."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.errors import DomainError, PlanError, Problem, QuantityError, nearest
from solarvent.base.quantities import parse
from solarvent.bench.evidence import KnownLight
from solarvent.electrical.battery import held_at, law_of
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels, fan_electrical
from solarvent.electrical.operation import OperatingPoint, point
from solarvent.electrical.panel_model import BANDS, PLATE_FACTORS, Band, as_promised, panel_parameters
from solarvent.electrical.start_light import Thresholds, start_and_run_down
from solarvent.plan.edit import set_key
from solarvent.plan.parts import Panel
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import panel_light
from solarvent.weather.span import plan_clock
from solarvent.wiring.circuit import Circuit, circuits
from solarvent.wiring.harness import build_harness

if TYPE_CHECKING:
    from solarvent.bench.diagnosis import Diagnosis

#: What a person can see a fan do.
SEEN = ("turns", "stands", "pulses")

_HIGHEST = {"voltage": 600.0, "current": 100.0}


@dataclass(frozen=True)
class Measurement:
    """What was read at one place with everything joined; None for what was not read.

    Attributes
    ----------
    voltage, current : float or None
        [V], [A]; a voltage below zero means that the red probe was on the negative pole.
    seen : str
        One of :data:`SEEN`, or empty.
    """

    voltage: float | None = None
    current: float | None = None
    seen: str = ""


@dataclass(frozen=True)
class Readings:
    """All readings of one visit with the meter, by the id of the part.

    `panel_open` [V] and `panel_short` [A] are of a panel alone; the others are taken with everything joined.
    """

    panel_open: dict[str, float] = field(default_factory=dict)
    panel_short: dict[str, float] = field(default_factory=dict)
    panel_joined: dict[str, Measurement] = field(default_factory=dict)
    fans: dict[str, Measurement] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.panel_open or self.panel_short or self.panel_joined or self.fans)


def parse_readings(
    panels: Sequence[str],
    fans: Sequence[str],
    *,
    panel_open: Iterable[str] = (),
    panel_short: Iterable[str] = (),
    panel_joined: Iterable[str] = (),
    fan: Iterable[str] = (),
) -> Readings:
    """Read the words of the command line; ids before ``=`` are needed only where there are several panels.

    `panel_open` and `panel_short` are like ``"20.4V"`` or ``"roof=20.4V"``; `panel_joined` like ``"17.8V/0.45A"``,
    either alone; `fan` like ``"east=11.2V/0.23A"``, either alone, and what was seen: ``"east=3V/0.6A/pulses"``.

    Raises
    ------
    PlanError
        With every reading that cannot be understood, and how to write it.
    """
    problems: list[Problem] = []
    by_option: list[dict] = []
    for option, texts, ids, reader in (
        ("--panel-open", panel_open, panels, _voltage),
        ("--panel-short", panel_short, panels, _current),
        ("--panel-joined", panel_joined, panels, _measurement),
        ("--fan", fan, fans, _measurement_and_sight),
    ):
        by_place: dict = {}
        for text in texts:
            try:
                name, value = _named(text, ids)
                if name in by_place:
                    raise QuantityError.single("", f'"{name}" is given twice', "give each place one reading")
                by_place[name] = reader(value)
            except (PlanError, QuantityError) as error:
                problems += [Problem(option, problem.what, problem.write) for problem in error.problems]
        by_option.append(by_place)
    if problems:
        raise PlanError(problems)
    return Readings(*by_option)


def _named(text: str, ids: Sequence[str]) -> tuple[str, str]:
    """Part a reading from the id before it, which may be left out where there is only one."""
    name, sign, value = text.partition("=")
    if not sign:
        if len(ids) == 1:
            return ids[0], text
        raise PlanError.single("", f'"{text[:40]}" does not say where', f'write it like "{ids[0]}=..."')
    name = name.strip()
    if name not in ids:
        raise PlanError.single("", f'there is no "{name[:40]}" in the plan', nearest(name, ids))
    return name, value


def _voltage(text: str) -> float:
    return _bounded(text, "voltage")


def _current(text: str) -> float:
    if (value := _bounded(text, "current")) < 0:
        what = f'"{text.strip()}" is below zero'
        raise QuantityError.single("", what, "give the size; a minus sign counts for volts")
    return value


def _bounded(text: str, dimension: str) -> float:
    """Read a quantity that such a circuit can have, [V] or [A]."""
    if abs(value := parse(text, dimension)) > _HIGHEST[dimension]:
        what = f'"{text.strip()}" is more than such a circuit can have'
        raise QuantityError.single("", what, "look at the unit and the range of the meter again")
    return value


def _measurement(text: str) -> Measurement:
    """Read volts and amperes in either order."""
    measurement = _measurement_and_sight(text)
    if measurement.seen:
        raise QuantityError.single("", f'"{measurement.seen}" is for a fan', 'write it like "17.8V/0.45A"')
    return measurement


def _measurement_and_sight(text: str) -> Measurement:
    """Read volts, amperes and what was seen, each at most once, in any order."""
    read: dict[str, Any] = {}
    # Between two readings a comma or a semicolon says the same as the stroke; in a number it stays and is refused.
    for piece in re.split(r"/|(?<=[A-Za-z])\s*[,;]", text):
        word = piece.strip()
        value: float | str
        if word in SEEN:
            key, value = "seen", word
        elif word.endswith(("V", "volt", "volts")):
            key, value = "voltage", _voltage(word)
        elif word.endswith(("A", "amp", "amps")):
            key, value = "current", _current(word)
        else:
            what = f'"{word[:40]}" is no volts, no amperes and nothing that a fan is seen to do'
            raise QuantityError.single("", what, f'write it like "11.2V/0.23A", and one of {", ".join(SEEN)}')
        if key in read:
            raise QuantityError.single("", f'"{text[:60]}" has two of a kind', 'write it like "11.2V/0.23A"')
        read[key] = value
    return Measurement(**read)


@dataclass(frozen=True)
class FanReading:
    """At the terminals of one fan: volts and amperes."""

    id: str
    voltage: float
    current: float


@dataclass(frozen=True)
class Reading:
    """A circuit with its fans, in the order of the plan, in one state; [V] and [A] at the first panel's terminals."""

    panel_voltage: float
    panel_current: float
    fans: tuple[FanReading, ...]


@dataclass(frozen=True)
class Expected:
    """What a meter should read on one circuit.

    `standing` is with all rotors held, `turning` with all fans turning, whether or not they would start. `open_circuit`
    is the voltage with nothing joined [V]; `short_circuit` the current into a meter across the panels' lead, at the
    point that feeds the fans [A]; `thresholds` are by fan, at 20 degC outside as in a run. `battery` is the voltage
    at the poles of a battery that feeds the fans: three quarters full, or in the low and the high reading at its
    cut-off and while the last of it is charged; None without one [V].
    """

    panels: tuple[str, ...]
    open_circuit: float
    short_circuit: float
    standing: Reading
    turning: Reading
    thresholds: dict[str, Thresholds]
    battery: float | None = None


def expected_readings(
    plan: Plan, irradiance: float, temp_cell: float, bands: tuple[Band, ...] = BANDS
) -> dict[str, tuple[Expected, ...]]:
    """Work out the readings of every circuit of a plan, by band of its plates.

    Parameters
    ----------
    irradiance : float
        Light on the cells of every panel, but for sections in shadow that bypass diodes bridge. [W/m2]
    temp_cell : float
        Of the cells. [degC]
    bands : tuple of Band
        Which readings of the plates.

    Returns
    -------
    dict of str to tuple of Expected
        By band, one entry a circuit.
    """
    wired = circuits(build_harness(plan), plan)
    return {band.name: tuple(_expected(circuit, irradiance, temp_cell, band) for circuit in wired) for band in bands}


def _expected(circuit: Circuit, irradiance: float, temp_cell: float, band: Band) -> Expected:
    """Work out the readings of one circuit in one band."""
    circuit, volts = _stored_in(circuit, band)
    fans = circuit_fans(circuit, band)
    panels = circuit_panels(circuit, np.array([irradiance]), np.array([temp_cell]), band)
    held, turning = (point(circuit, panels, fans, dict.fromkeys(fans, state)) for state in ("held", "turning"))
    return Expected(
        panels=circuit.panel_ids,
        open_circuit=float(held.open_circuit_voltage[0]),
        short_circuit=float(held.short_circuit_current[0]),
        standing=_reading(held),
        turning=_reading(turning),
        thresholds=start_and_run_down((circuit,), band),
        battery=volts,
    )


def _stored_in(circuit: Circuit, band: Band) -> tuple[Circuit, float | None]:
    """A circuit with its battery, if it has one, as it is in a band, and the voltage at its poles. [V]"""
    if circuit.storage is None:
        return circuit, None
    law = law_of(circuit.storage.battery)
    volts = {"low": law.cut_off, "high": law.absorption}.get(band.name, held_at(circuit.storage))
    return replace(circuit, storage=replace(circuit.storage, voltage=volts)), volts


def _reading(operating: OperatingPoint) -> Reading:
    """Take the first step of an operating point."""
    fans = zip(
        operating.fan_ids, operating.fan_voltage[:, 0].tolist(), operating.fan_current[:, 0].tolist(), strict=True
    )
    return Reading(
        float(operating.panel_voltage[0, 0]),
        float(operating.panel_current[0, 0]),
        tuple(FanReading(*values) for values in fans),
    )


def clear_sky_light(plan: Plan, when: datetime, temp_air: float = 20.0) -> KnownLight:
    """Estimate light and heat of the cells, means of the panels, under a clear sky: a cloud may have taken most of it.

    `when` is clock time of the plan, `temp_air` that outside [degC]. PlanError if the clock skips this time, or the sun
    is down.
    """
    import pandas as pd

    from solarvent.weather import sky, sun

    place = plan.record.place
    # Of an hour that comes twice the first is meant, still in summer time.
    stamp = pd.DatetimeIndex([when]).tz_localize(plan_clock(plan), ambiguous=np.array([True]), nonexistent="NaT")
    if stamp.isna().any():
        raise PlanError.single(
            "--at", f"{when:%Y-%m-%d %H:%M} is skipped by the clock there", "it goes an hour forward"
        )
    index = stamp.tz_convert("UTC")
    clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
    weather = pd.DataFrame({"ghi": clear.ghi, "dni": clear.dni, "dhi": clear.dhi, "temp_air": temp_air}, index=index)
    weather.attrs["step"] = 0.0
    position = sun.solar_position(index, place.latitude, place.longitude, place.altitude)
    lights = [panel_light(panel, plan, weather, position) for panel in plan.record.panel]
    irradiance = float(np.mean([light.effective_irradiance[0] for light in lights]))
    if irradiance < 20:
        what = f"at {when:%Y-%m-%d %H:%M} the sun is down, or nearly so"
        raise PlanError.single("--at", what, f"clock times are those of {place.timezone}")
    return KnownLight(irradiance, False, float(np.mean([light.temp_cell[0] for light in lights])))


#: Explanations of the readings under which a fan turns.
_TURNS = ("normal", "slow", "over-volted", "weak-panel", "resistance")
#: Readings at voltages that differ by less are one running point (our choice). [-]
_SAME_POINT = 0.03


@dataclass(frozen=True)
class Measured:
    """One value to be written into a plan, as it is to stand in the file; `before` is empty if nothing stood there."""

    section: str
    part: str
    key: str
    value: str
    before: str = ""


def measured_values(
    plan: Plan, taken: Readings, light: KnownLight, diagnoses: Sequence[Diagnosis]
) -> tuple[list[Measured], list[str]]:
    """Work out what readings say about the parts of a plan: values, and sentences on readings of no use.

    A panel's current says something only if the light was measured: else, and if the result is impossible, PlanError. A
    fan that stands has no running point.
    """
    values, left_out, problems = [], [], []
    for panel in plan.record.panel:
        if (current := taken.panel_short.get(panel.id)) is None:
            continue
        if not light.measured or light.irradiance is None:
            what = "the light at the reading is not known, so the current says nothing about the plate"
            problems.append(Problem(f'panel "{panel.id}"', what, "add --irradiance, measured on the panel's plane"))
            continue
        factor = current / _plate_current(panel, light)
        least, most = PLATE_FACTORS
        if not least <= factor <= most:
            what = f"{current:g} A would be {factor:.2f} times what its plate gives in {light.irradiance:g} W/m2"
            write = f"between {least:g} and {most:g} can be; check the light, the range and the plate"
            problems.append(Problem(f'panel "{panel.id}"', what, write))
            continue
        before = "" if panel.plate_factor is None else f"{panel.plate_factor:g}"
        values.append(Measured("panel", panel.id, "plate_factor", f"{factor:.3f}", before))
    turning = {name for diagnosis in diagnoses for name in _turning(diagnosis, taken)}
    for fan in plan.record.fan:
        if (reading := taken.fans.get(fan.id)) is None:
            continue
        if reading.voltage is None or reading.current is None:
            left_out.append(f"{fan.id}: a running point needs volts and amperes")
        elif fan.id not in turning:
            left_out.append(f"{fan.id}: by these readings it is not sure that it turns freely")
        elif any(abs(volts / reading.voltage - 1) < _SAME_POINT for volts, _ in fan.readings):
            left_out.append(
                f"{fan.id}: the plan holds a reading at {reading.voltage:g} V already; take that one out first"
            )
        else:
            points = sorted([*fan.readings, [reading.voltage, reading.current]])
            try:
                fan_electrical(fan.model_copy(update={"readings": points}))
            except DomainError as error:
                left_out.append(f"{fan.id}: {error.problems[0].what}")
                continue
            values.append(Measured("fan", fan.id, "readings", _points(points), _points(fan.readings)))
    if problems:
        raise PlanError(problems)
    return values, left_out


def written(text: str, values: Sequence[Measured]) -> str:
    """Put measured values into the text of a plan, everything else as it was."""
    for value in values:
        text = set_key(text, value.section, value.part, value.key, value.value)
    return text


def _plate_current(panel: Panel, light: KnownLight) -> float:
    """Short-circuit current that the plate promises in this light. [A]"""
    from pvlib.pvsystem import i_from_v

    temp_cell = 25.0 if light.temp_cell is None else light.temp_cell
    return float(i_from_v(0.0, *panel_parameters(as_promised(panel), np.array(light.irradiance), np.array(temp_cell))))


def _turning(diagnosis: Diagnosis, taken: Readings) -> set[str]:
    """The fans of a circuit that turn by the readings."""
    leader = diagnosis.ranking[0]
    if leader.fault not in _TURNS:
        return set()
    read = {part for kind, part in diagnosis.readings if kind == "current"}
    said = {name for name, pair in taken.fans.items() if pair.seen == "turns"}
    still = {name for name, pair in taken.fans.items() if pair.seen in ("stands", "pulses")}
    # A weak panel or a bad contact may leave a fan standing: there only what was seen to turn counts.
    return read & said if leader.fault in ("weak-panel", "resistance") else read - still


def _points(points: Sequence[Sequence[float]]) -> str:
    """Write running points as a plan has them; nothing where there are none."""
    return "[" + ", ".join(f"[{volts:g}, {amps:g}]" for volts, amps in points) + "]" if points else ""
