"""Plans by chance, such as people might write them: sound ones, weak ones and faulty ones, all of them valid."""

from __future__ import annotations

from typing import Any

import numpy as np

FANS = (
    "fan-12v-80x25", "fan-12v-120x25", "fan-12v-120x38", "fan-12v-120x25-held", "fan-12v-172x51", "fan-24v-120x25",
    "fan-24v-120x38", "fan-usb-80", "fan-usb-120",
)  # fmt: skip
PANELS = ("panel-5w", "panel-10w", "panel-20w", "panel-30w", "panel-50w", "panel-100w", "panel-20w-by-watts",
          "panel-usb-10w", "panel-usb-20w", "panel-flexible-20w")  # fmt: skip
CONVERTERS = {5: ("buck-5v", "panel-usb-socket", "panel-usb-board"), 12: ("buck-12v", "clamp-13v", "linear-12v"),
              24: ()}  # fmt: skip
WIRES = ("14 AWG", "16 AWG", "18 AWG", "20 AWG", "24 AWG")


def random_plan(number: int, weather: dict[str, Any]) -> dict[str, Any]:
    """Make the content of a plan file; the same number gives the same plan."""
    rng = np.random.default_rng([19, number])

    def one_of(*choices: Any) -> Any:
        return choices[int(rng.integers(len(choices)))]

    def chance(share: float) -> bool:
        return bool(rng.random() < share)

    fans = _fans(rng, one_of, chance)
    panels = [_panel(f"panel-{count + 1}", one_of, chance) for count in range(one_of(1, 1, 1, 2))]
    sound = chance(0.7)
    if sound:
        # The panel and the fans belong together: 24 V fans straight on the panel, others behind what suits them.
        usb = fans[0]["part"].startswith("fan-usb")
        for panel in panels:
            panel["part"] = one_of("panel-usb-10w", "panel-usb-20w") if usb else one_of(*PANELS[2:6])
        for fan in fans:
            fan["part"] = fans[0]["part"]
    layout = one_of("shared", "shared", "shared", "series" if len(fans) > 1 and not sound else "shared")
    if len(panels) == len(fans) and chance(0.5):
        layout = "one-each"
    wiring: dict[str, Any] = {
        "layout": layout,
        "lead": {
            "wire": one_of(*(WIRES[:3] if sound else WIRES)),
            "length": f"{rng.uniform(1, 4 if sound else 12):.1f} m",
        },
        "panels": one_of("parallel", "series") if len(panels) > 1 and not sound else "parallel",
    }
    volts = {int(part["part"].replace("usb", "5v").split("-")[1].rstrip("v")) for part in fans}
    fitting = CONVERTERS[volts.pop()] if len(volts) == 1 else ()
    if fitting and layout != "series" and chance(0.9 if sound else 0.3):
        wiring["converter"] = one_of(*fitting)
    if not sound and chance(0.3):
        wiring["contact_resistance"] = "0.3 ohm"
    content: dict[str, Any] = {
        "plan_version": 1,
        "title": f"Plan {number}, by chance",
        "units": one_of("metric", "us"),
        "place": {"latitude": 36.1, "longitude": -79.95, "altitude": "273 m", "timezone": "America/New_York"},
        "weather": weather,
        "house": _house(rng, one_of),
        "target": _target(rng, one_of, chance),
        "panel": panels,
        "fan": fans,
        "opening": _openings(rng, one_of, chance),
        "wiring": wiring,
    }
    if chance(0.15):
        content["thermostat"] = {"closes_at": "28 degC", "opens_at": "25 degC"}
    return content


def rich_plan(number: int, weather: dict[str, Any]) -> dict[str, Any]:
    """Make the same plan as :func:`random_plan` with more of what a plan may have: masses, shade, ducts, trees ..."""
    content = random_plan(number, weather)
    rng = np.random.default_rng([20, number])

    def chance(share: float) -> bool:
        return bool(rng.random() < share)

    def between(least: float, most: float, unit: str) -> str:
        return f"{rng.uniform(least, most):.2f} {unit}"

    house, wiring = content["house"], content["wiring"]
    house["azimuth"] = float(rng.integers(0, 360))
    house["floor"] = ("soil", "lawn", "gravel", "slab", "boards")[int(rng.integers(5))]
    house["planting"] = ("empty", "half", "full")[int(rng.integers(3))]
    content["place"]["wind_share"] = float(rng.choice([0.2, 0.5, 1.0]))
    sections: dict[str, tuple[float, Any]] = {
        "mass": (0.3, [{"id": "drums", "part": "drum-208l", "count": int(rng.integers(1, 5))}]),
        "shade": (0.2, {"transmittance": 0.6, "place": str(rng.choice(["outside", "inside", "paint"]))}),
        "screen": (0.15, {"saving": 0.4}),
        "obstacle": (0.2, [{"kind": str(rng.choice(["tree", "wall"])), "azimuth": float(rng.integers(0, 360)),
                            "distance": between(3, 12, "m"), "height": between(1, 5, "m"), "width": "5 m"}]),
        "battery": (0.1, {"capacity": "84 Wh", "kind": str(rng.choice(["lead-acid", "lithium"]))}),
        "clock": (0.15, "solar"),
    }  # fmt: skip
    content |= {name: value for name, (share, value) in sections.items() if chance(share)}
    # A regulator that is built into a panel leaves no outlet to charge a battery from.
    if wiring.get("converter", "").startswith("panel-"):
        content.pop("battery", None)
    if chance(0.2):
        content["place"]["skyline"] = [[90, 12], [120, 5], [300, 8]]
    if chance(0.1):
        wiring["blocking_diode"] = "schottky-3a"
    if chance(0.5):
        wiring["branch"] = {"wire": str(rng.choice(WIRES)), "length": between(0.3, 3, "m")}
    for fan in content["fan"]:
        if chance(0.2):
            fan |= {"duct_length": between(0.2, 3, "m"), "duct_bends": int(rng.integers(0, 3))}
        if chance(0.1):
            fan["blows_in"] = True
        if chance(0.1):
            fan["speed_controlled"] = True
    return content


def _fans(rng: np.random.Generator, one_of: Any, chance: Any) -> list[dict[str, Any]]:
    """One to four fans, mostly alike."""
    count, first = one_of(1, 2, 2, 3, 4), one_of(*FANS, "fan-24v-120x25", "fan-24v-120x38")
    parts = [first if chance(0.85) else one_of(*FANS) for _ in range(count)]
    wall = float(rng.integers(0, 360)) if chance(0.5) else None
    fans = []
    for number, part in enumerate(parts, start=1):
        fan = {"id": f"fan-{number}", "part": part, "outlet_opening": one_of("hood", "hood", "light-shutter")}
        fans.append(fan | ({} if wall is None else {"wall_azimuth": wall}))
    return fans


def _panel(name: str, one_of: Any, chance: Any) -> dict[str, Any]:
    """A panel, in the sun or out of it."""
    panel: dict[str, Any] = {
        "id": name, "part": one_of(*PANELS), "tilt": one_of(5, 20, 30, 45, 60),
        "azimuth": one_of(90, 180, 200, 240, 350),
    }  # fmt: skip
    for share, key, value in (
        (0.2, "soiling_ratio", 0.85), (0.2, "age", 15), (0.15, "plate_factor", 0.75),
        (0.1, "lit_share_of_worst_cell", 0.6),
    ):  # fmt: skip
        if chance(share):
            panel[key] = value
    return panel


def _house(rng: np.random.Generator, one_of: Any) -> dict[str, Any]:
    """A small house of some use."""
    use = one_of("greenhouse", "greenhouse", "shed", "coop", "camper")
    eaves = rng.uniform(1.2, 2.0)
    return {
        "use": use,
        "shape": one_of("gable", "lean-to", "box") if use != "coop" else "coop",
        "length": f"{rng.uniform(1.8, 6):.1f} m",
        "width": f"{rng.uniform(1.5, 3):.1f} m",
        "eaves": f"{eaves:.1f} m",
        "ridge": f"{eaves + 0.6:.1f} m",
        "cover": one_of("single-glass", "twin-wall-4mm", "film-single") if use == "greenhouse" else "boards",
        "tightness": one_of("tight", "average", "leaky"),
    }


def _target(rng: np.random.Generator, one_of: Any, chance: Any) -> dict[str, Any]:
    """What would be enough: a rise, a flow or air changes."""
    start, end = one_of(("12:00", "18:00"), ("10:00", "16:00"), ("09:30", "17:30"))
    asked = one_of({"rise": f"{rng.uniform(3, 20):.1f} K"}, {"flow": f"{rng.uniform(10, 120):.0f} m3/h"},
                   {"air_changes": float(rng.integers(1, 12))})  # fmt: skip
    return {"start": start, "end": end, "months": [7]} | (asked if chance(0.8) else {})


def _openings(rng: np.random.Generator, one_of: Any, chance: Any) -> list[dict[str, Any]]:
    """Inlets, and now and then none."""
    if chance(0.1):
        return []
    inlet = {"id": "inlet", "part": one_of("plain-hole", "wire-mesh"), "area": f"{rng.uniform(0.005, 0.2):.3f} m2",
             "height": "0.3 m"}  # fmt: skip
    vent = {"id": "vent", "part": "window-vent", "area": "0.2 m2", "on": "roof", "opener": "wax-opener"}
    return [inlet, *([vent] if chance(0.25) else [])]
