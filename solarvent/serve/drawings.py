"""Drawings on the page: the house to scale with a person beside it, the choices as small pictures, plugs face on."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt
from typing import Any

from solarvent.base.quantities import show
from solarvent.plan.connectors import Families
from solarvent.plan.plan_record import PlanRecord

_PERSON = 1.7  # height of the figure beside the house [m]
_WIDE, _HIGH, _EDGE, _GAP = 340.0, 190.0, 10.0, 26.0


def outline(shape: str, width: float, eaves: float, ridge: float) -> str:
    """Path of the front of a house, its lower left corner at the origin and up positive; units as given."""
    ridge = max(ridge, eaves, 0.05)
    if shape in ("lean-to", "shed"):
        return f"M0 0V{-eaves:.2f}L{width:.2f} {-ridge:.2f}V0Z"
    if shape == "box":
        return f"M0 0V{-ridge:.2f}H{width:.2f}V0Z"
    if shape in ("tunnel", "dome"):
        wall = 0.0 if shape == "dome" else min(eaves, 0.98 * ridge)
        rise = ridge - wall
        return f"M0 0V{-wall:.2f}A{width / 2:.2f} {rise:.2f} 0 0 1 {width:.2f} {-wall:.2f}V0Z"
    return f"M0 0V{-eaves:.2f}L{width / 2:.2f} {-ridge:.2f}L{width:.2f} {-eaves:.2f}V0Z"


def house_picture(record: PlanRecord, system: str) -> str:
    """Draw the house from the end and from the side, to one scale, with fans and openings as large as they are. SVG."""
    house = record.house
    top = max(house.ridge, house.eaves, _PERSON)
    scale = min((_WIDE - 2 * _EDGE - 2 * _GAP) / (house.width + house.length + 0.6), (_HIGH - 52.0) / top)
    ground, width, length = _HIGH - 30.0, house.width * scale, house.length * scale
    eaves, ridge = house.eaves * scale, max(house.ridge, house.eaves) * scale
    end, side = outline(house.shape, width, eaves, ridge), _EDGE + width + _GAP
    person = side + length + 14.0
    measures = {name: show(getattr(house, name), "length", system, 1) for name in ("width", "length", "eaves", "ridge")}
    words = (
        f"A {house.shape} house, {measures['width']} wide, {measures['length']} long, {measures['eaves']} high at the"
        f" low wall and {measures['ridge']} at the top, beside a person of 1.7 m."
    )
    parts = [
        f'<g transform="translate({_EDGE:.1f} {ground:.1f})"><path class="wall" d="{end}"/></g>',
        f'<path class="wall" d="M{side:.1f} {ground:.1f}v{-ridge:.1f}h{length:.1f}v{ridge:.1f}z"/>',
        *([] if house.shape in ("box", "dome", "tunnel") else [
            f'<path class="edge" d="M{side:.1f} {ground - eaves:.1f}h{length:.1f}"/>']),
        *_fans(record, scale, _EDGE + width / 2, ground - 0.75 * ridge),
        *_openings(record, scale, side, length, ground, ridge),
        _person(person, ground, scale),
        f'<path class="edge" d="M0 {ground:.1f}H{_WIDE:g}"/>',
        _measure(_EDGE, _EDGE + width, ground + 12, measures["width"]),
        _measure(side, side + length, ground + 12, measures["length"]),
        f'<text x="{side + 4:.1f}" y="{ground - ridge - 5:.1f}">{measures["ridge"]} high</text>',
    ]  # fmt: skip
    return (
        f'<svg class="house" viewBox="0 0 {_WIDE:g} {_HIGH:g}" role="img" aria-label="{words}">{"".join(parts)}</svg>'
    )


def _fans(record: PlanRecord, scale: float, middle: float, height: float) -> Iterator[str]:
    """Each fan as a wheel of its own size, side by side in the end wall."""
    widths = [fan.size * scale for fan in record.fan]
    gap = 3.0
    left = middle - (sum(widths) + gap * (len(widths) - 1)) / 2
    for wide in widths:
        radius = max(wide / 2, 1.5)
        yield f'<circle class="fan" cx="{left + wide / 2:.1f}" cy="{height:.1f}" r="{radius:.1f}"/>'
        left += wide + gap


def _openings(
    record: PlanRecord, scale: float, side: float, length: float, ground: float, ridge: float
) -> Iterator[str]:
    """Each opening as a square of its area, low in the side wall, or at the ridge if it lies in the roof."""
    for number, opening in enumerate(record.opening[:6]):
        edge = max(sqrt(opening.area or 0.0) * scale, 2.0)
        left = side + length - edge - 4.0 - number * (edge + 4.0)
        top = ground - ridge + 2.0 if opening.on == "roof" else ground - edge - 3.0
        yield f'<rect class="hole" x="{left:.1f}" y="{top:.1f}" width="{edge:.1f}" height="{edge:.1f}"/>'


def _person(x: float, ground: float, scale: float) -> str:
    """Somebody of 1.7 m, by whom the size is judged."""
    high = _PERSON * scale
    head = high / 13
    return (
        f'<g class="person"><circle cx="{x:.1f}" cy="{ground - high + head:.1f}" r="{head:.1f}"/>'
        f'<path d="M{x:.1f} {ground - high + 2 * head:.1f}V{ground - 0.45 * high:.1f}'
        f'M{x - 0.12 * high:.1f} {ground:.1f}L{x:.1f} {ground - 0.47 * high:.1f}L{x + 0.12 * high:.1f} {ground:.1f}'
        f'M{x - 0.14 * high:.1f} {ground - 0.5 * high:.1f}L{x:.1f} {ground - 0.78 * high:.1f}'
        f'L{x + 0.14 * high:.1f} {ground - 0.5 * high:.1f}"/></g>'
    )  # fmt: skip


def _measure(left: float, right: float, y: float, words: str) -> str:
    return (
        f'<path class="edge" d="M{left:.1f} {y - 3:.1f}v6M{right:.1f} {y - 3:.1f}v6M{left:.1f} {y:.1f}H{right:.1f}"/>'
        f'<text x="{(left + right) / 2:.1f}" y="{y + 14:.1f}" text-anchor="middle">{words}</text>'
    )


def shape_picture(shape: str) -> str:
    """A small picture of a shape of house. SVG."""
    wall, top = {"tunnel": (6, 24), "dome": (0, 26), "lean-to": (14, 30), "coop": (16, 26)}.get(shape, (18, 30))
    extra = {"lean-to": '<path class="edge" d="M48 38V2"/>', "coop": '<path class="edge" d="M12 38v-9h8v9"/>'}
    path = outline(shape, 40, wall, top)
    return _small(f'<path class="wall" transform="translate(8 38)" d="{path}"/>{extra.get(shape, "")}')


_USES = {
    "greenhouse": '<path class="wall" d="M8 38V20L28 8 48 20V38Z"/>'
    '<path class="leaf" d="M28 38V24M28 30q-8 0-9-7 8 0 9 7M28 27q8 0 9-8-8 0-9 8"/>',
    "shed": '<path class="wall" d="M8 38V18L28 6 48 18V38Z"/><path class="edge" d="M22 38V24h12v14M34 30h-2"/>',
    "coop": '<path class="wall" d="M8 38V20L28 10 48 20V38Z"/>'
    '<path class="leaf" d="M20 34q0-8 8-8l5-4 1 5q3 6-5 9h-7q-2 0-2-2M26 36v3M30 36v3"/>',
    "camper": '<path class="wall" d="M4 34V14q0-4 4-4h28l14 12v12Z"/><path class="edge" d="M12 16h10v8H12z"/>'
    '<circle class="fan" cx="15" cy="35" r="4"/><circle class="fan" cx="40" cy="35" r="4"/>',
}


def use_picture(use: str) -> str:
    """A small picture of what a house is used for. SVG."""
    return _small(_USES.get(use, ""))


def planting_picture(planting: str) -> str:
    """A small picture of how much of the floor is leaf. SVG."""
    plant = '<path class="leaf" d="M{x} 38V26M{x} 33q-6 0-7-6 7 0 7 6M{x} 30q6 0 7-7-7 0-7 7"/>'
    places = {"empty": (), "half": (18, 38), "full": (10, 20, 30, 40, 48)}[planting]
    return _small('<path class="edge" d="M2 38H54"/>' + "".join(plant.format(x=x) for x in places))


def _small(inside: str) -> str:
    return f'<svg class="small-picture" viewBox="0 0 56 42" aria-hidden="true">{inside}</svg>'


#: Faces in mm: outer and inner diameter of a barrel, and its pin; sizes of IEC 60130-10, of the EIAJ series and of the
#: USB standards (from memory), the others typical.
_BARRELS = {
    "barrel-5.5x2.1": (5.5, 2.1, 2.0), "barrel-5.5x2.5": (5.5, 2.5, 2.4), "barrel-3.5x1.35": (3.5, 1.35, 1.3),
    "barrel-8": (7.9, 5.5, 0.9), "eiaj-1": (2.35, 0.7, 0.65), "eiaj-2": (4.0, 1.7, 1.65), "eiaj-3": (4.75, 1.7, 1.65),
    "eiaj-4": (5.5, 3.3, 1.0), "eiaj-5": (6.5, 4.4, 1.4),
}  # fmt: skip
#: Width and height of the face, and where its contacts lie: x, y and radius. [mm]
_BLOCKS: dict[str, tuple[float, float, tuple[tuple[float, float, float], ...]]] = {
    "usb-a": (12.0, 4.5, ((-3.5, 1.0, 0.5), (-1.0, 1.0, 0.5), (1.0, 1.0, 0.5), (3.5, 1.0, 0.5))),
    "usb-c": (8.3, 2.5, ((-2.5, 0.0, 0.3), (0.0, 0.0, 0.3), (2.5, 0.0, 0.3))),
    "usb-micro-b": (6.9, 1.9, ((-1.3, 0.0, 0.25), (0.0, 0.0, 0.25), (1.3, 0.0, 0.25))),
    "flat-two-pin": (17.0, 8.0, ((-3.6, 0.0, 2.0), (3.6, 0.0, 2.0))),
    "wire-to-wire-2": (7.5, 5.7, ((-1.25, 0.0, 0.5), (1.25, 0.0, 0.5))),
    "fan-header-2": (5.1, 5.8, ((-1.25, 0.0, 0.5), (1.25, 0.0, 0.5))),
    "fan-header-3": (7.6, 5.8, ((-2.5, 0.0, 0.5), (0.0, 0.0, 0.5), (2.5, 0.0, 0.5))),
    "fan-header-4": (10.2, 5.8, ((-3.8, 0.0, 0.5), (-1.3, 0.0, 0.5), (1.3, 0.0, 0.5), (3.8, 0.0, 0.5))),
    "screw-terminal": (10.0, 8.0, ((-2.5, 0.0, 1.8), (2.5, 0.0, 1.8))),
    "lever-terminal": (12.0, 8.0, ((-3.0, 1.0, 1.5), (3.0, 1.0, 1.5))),
    "spade": (14.0, 7.0, ((-3.5, 0.0, 2.3), (3.5, 0.0, 2.3))),
    "ring": (20.0, 9.0, ((-5.0, 0.0, 4.0), (5.0, 0.0, 4.0))),
    "pv-4mm": (16.0, 16.0, ((0.0, 0.0, 2.0),)),
    "pv-3mm": (13.0, 13.0, ((0.0, 0.0, 1.5),)),
}
#: Face of a plug in a vehicle's socket: diameter. [mm]
_VEHICLE = {"vehicle-21mm": 21.0, "vehicle-12mm": 12.0}


def plug_faces(families: Families) -> list[dict[str, Any]]:
    """Every half of every connector: its family, body, names, and its face in millimetres as SVG."""
    faces = []
    for name, family in families.items():
        if name == "soldered":
            continue
        bodies = ("plug", "jack") if family.halves == "plug-jack" else ("either",)
        for body in bodies:
            words = {"plug": family.plug_words, "jack": family.jack_words}.get(body, family.note)
            drawing, wide, high = _face(name, body)
            faces.append({
                "id": f"{name}/{body}",
                "family": name,
                "name": family.name if body == "either" else f"{family.name}, {body}",
                "words": words,
                "drawing": drawing,
                # Twice life size, for a CSS millimetre is nearly one on the screen: so 2.1 and 2.5 are told apart.
                "width": f"{2 * wide:g}mm", "height": f"{2 * high:g}mm",
                "box": f"{-wide / 2:g} {-high / 2:g} {wide:g} {high:g}",
                "contacts": list(family.power or family.positions), "fixed": family.fixed,
            })  # fmt: skip
    return faces


def _face(name: str, body: str) -> tuple[str, float, float]:
    """One face on, and the width and height of its picture. [mm]"""
    if name in _BARRELS:
        outer, inner, pin = _BARRELS[name]
        size = outer + 4
        if body == "plug":
            # The wide ones have a pin in the middle of the plug's hole.
            middle = _circle("metal", pin) if inner > 3 else ""
            return _circle("metal", outer) + _circle("dark", inner) + middle, size, size
        return _block("body", size - 0.6, size - 0.6) + _circle("dark", outer + 0.6) + _circle("metal", pin), size, size
    if name in _VEHICLE:
        size = _VEHICLE[name]
        inside = _circle("metal", 5.0) if body == "plug" else _circle("dark", size - 2) + _circle("metal", 4.0)
        return _circle("body", size) + inside, size + 1, size + 1
    if name in _BLOCKS:
        wide, high, contacts = _BLOCKS[name]
        inside = _block("dark" if body == "jack" else "body", wide, high)
        for number, (x, y, radius) in enumerate(contacts):
            kind = "dark" if name == "flat-two-pin" and number == 0 else "metal"
            inside += _circle(kind, 2 * radius, x, y)
        return inside, wide + 1, high + 1
    # Loose ends: two conductors, one of them red.
    wires = '<path class="wire red" d="M-6 -1.5H3"/><path class="wire" d="M-6 1.5H3"/>'
    return wires + '<path class="bare" d="M3 -1.5H7M3 1.5H7"/>', 16.0, 7.0


def _circle(kind: str, diameter: float, x: float = 0.0, y: float = 0.0) -> str:
    return f'<circle class="{kind}" cx="{x:g}" cy="{y:g}" r="{diameter / 2:g}"/>'


def _block(kind: str, wide: float, high: float) -> str:
    edge = f'x="{-wide / 2:g}" y="{-high / 2:g}" width="{wide:g}" height="{high:g}" rx="{min(wide, high) / 4:.2f}"'
    return f'<rect class="{kind}" {edge}/>'
