"""Plans that say the same as another in other words, or the same of a mirrored world; as content of their files."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator
from typing import Any

#: Metric unit -> a unit of the trade, what one of it is, and what its zero is. Exact by definition (NIST SP 811).
_US = {
    "m": ("ft", 0.3048, 0.0), "m2": ("ft2", 0.3048**2, 0.0), "m3/h": ("cfm", 60 * 0.3048**3, 0.0),
    "degC": ("degF", 5 / 9, -160 / 9), "K": ("degF", 5 / 9, 0.0), "ohm": ("mohm", 1e-3, 0.0),
}  # fmt: skip
_MEASURE = re.compile(r"(-?[0-9.]+) (\S+)")
_PARTS = ("panel", "fan", "opening", "mass")


def texts_changed(content: Any, change: Callable[[str], str]) -> Any:
    """Copy nested content with each text in it changed."""
    if isinstance(content, dict):
        return {key: texts_changed(value, change) for key, value in content.items()}
    if isinstance(content, list):
        return [texts_changed(value, change) for value in content]
    return change(content) if isinstance(content, str) else content


def in_us_units(content: dict[str, Any]) -> dict[str, Any]:
    """Write every measure of a plan in the units of the United States."""

    def change(text: str) -> str:
        found = _MEASURE.fullmatch(text)
        if found is None or found[2] not in _US:
            return text
        unit, size, zero = _US[found[2]]
        return f"{(float(found[1]) - zero) / size:.14g} {unit}"

    return texts_changed(content, change)


def renamed_and_reordered(content: dict[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """Turn the order of all parts round and give them other names; also the new name of each."""
    twin = copy.deepcopy(content)
    names = {}
    for section in _PARTS:
        entries = twin.get(section, [])
        # One that comes first by the alphabet comes last now.
        for number, entry in enumerate(entries):
            names[entry["id"]] = entry["id"] = f"{section}-{'zyxwvu'[number]}"
        entries.reverse()
    old = [entry["id"] for section in _PARTS for entry in content.get(section, [])]
    return twin, dict(zip(old, names.values(), strict=True))


def as_runs(content: dict[str, Any], pieces: int = 1) -> dict[str, Any]:
    """Write a layout word as runs through leads and splitters, each lead cut into so many `pieces`."""
    twin = copy.deepcopy(content)
    wiring = twin["wiring"]
    layout, lead, branch = wiring.pop("layout"), wiring.pop("lead", {}), wiring.pop("branch", {"length": "1 m"})
    panels = [panel["id"] for panel in content["panel"]]
    fans = [fan["id"] for fan in content["fan"]]
    joined = wiring.pop("panels", "parallel")
    twin |= {"lead": [], "splitter": [], "converter": []}
    device, diode = wiring.pop("converter", None), wiring.pop("blocking_diode", None)

    def cable(name: str, cable: dict[str, Any]) -> list[str]:
        metres = float(cable["length"].removesuffix(" m")) / pieces
        names = [f"{name}-{number}" for number in range(pieces)]
        twin["lead"] += [{**cable, "id": one, "length": f"{metres:.14g} m"} for one in names]
        return names

    def converter(name: str) -> list[str]:
        twin["converter"] += [{"id": name, "part": device}] if device else []
        return [name] if device else []

    def splitter(name: str, ends: list[str], arrangement: str) -> list[str]:
        if len(ends) == 1:
            return []
        twin["splitter"].append({"id": name, "branches": len(ends), "arrangement": arrangement, "length": "0 m"})
        return [name]

    def begin(panel: str) -> list[str]:
        twin["lead"] += [{"id": f"diode-{panel}", "diode": diode}] if diode else []
        return [panel, f"diode-{panel}"] if diode else [panel]

    if layout == "one-each":
        wiring["runs"] = [
            [*begin(panel), *cable(f"lead-{fan}", lead), *converter(f"converter-{fan}"), fan]
            for panel, fan in zip(panels, fans, strict=True)
        ]
    else:
        arrangement = "series" if layout == "series" else "parallel"
        trunk = [*splitter("joint", panels, joined), *cable("main", lead), *converter("step"),
                 *splitter("split", fans, arrangement)]  # fmt: skip
        ends = [[*cable(f"branch-{fan}", branch), fan] if len(fans) > 1 else [fan] for fan in fans]
        wiring["runs"] = [[*start, *trunk, *end] for start in map(begin, panels) for end in ends]
    return {key: value for key, value in twin.items() if value != []}


def mirrored(content: dict[str, Any], weather: str) -> dict[str, Any]:
    """Put a plan as far on the other side of the equator, its south in the north, half a year later."""
    twin = copy.deepcopy(content)
    twin["weather"] = {"file": weather}
    twin["place"]["latitude"] *= -1
    twin["place"]["skyline"] = [[(180 - azimuth) % 360, up] for azimuth, up in twin["place"].get("skyline", [])]
    house = twin["house"]
    house["azimuth"] = house.get("azimuth", 180.0)
    for table in [*_tables(twin), house]:
        for key in ("azimuth", "wall_azimuth"):
            if key in table:
                table[key] = (180 - table[key]) % 360
    twin["target"]["months"] = [(month + 5) % 12 + 1 for month in twin["target"]["months"]]
    return twin


def _tables(content: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for section in ("panel", "fan", "opening", "obstacle"):
        yield from content.get(section, [])
