"""The questions that lead to a first plan, one after the other, each with a default."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from typing import Any

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import convert, parse
from solarvent.plan.asking import (
    Asking,
    Question,
    area,
    cable,
    choose,
    facing,
    position,
    several,
    zone,
)
from solarvent.plan.fields import Length, LengthOrZero
from solarvent.plan.interview_parts import ask_between, ask_fans, ask_panel
from solarvent.plan.library import Library
from solarvent.plan.parts import USUAL_TILT
from solarvent.plan.starter import Answers, plan_text

_USES = {
    "greenhouse": "greenhouse, or a polytunnel",
    "shed": "shed or workshop",
    "coop": "coop for hens or other animals",
    "camper": "camper, van or trailer",
}
_SHAPES = {
    "gable": "two roof slopes that meet in a ridge",
    "lean-to": "one slope against a wall of another house",
    "tunnel": "hoops under film",
    "dome": "dome",
    "box": "flat roof",
    "shed": "one roof slope, free-standing",
}
#: Use -> what its house is usually like: shape, cover, and floor and heights in metric and in US units.
_USUAL = {
    "greenhouse": ("gable", "twin-wall-4mm", ("3.1 m x 2.5 m", "10 ft x 8 ft"), ("1.7 m x 2.4 m", "5.5 ft x 8 ft")),
    "shed": ("gable", "boards", ("3 m x 2 m", "10 ft x 7 ft"), ("1.8 m x 2.2 m", "6 ft x 7 ft")),
    "coop": ("coop", "boards", ("2 m x 1.5 m", "7 ft x 5 ft"), ("1.2 m x 1.6 m", "4 ft x 5 ft")),
    "camper": ("box", "insulated-panel", ("4 m x 2 m", "13 ft x 7 ft"), ("1.9 m x 1.9 m", "6 ft x 6 ft")),
}
#: The free area of an inlet over the fans' own holes (common practice, no source: 1.5 to 3).
_INLET = 3.0
_OTHER_HALF = 3.0
_EMBEDDED = (36.1, -79.95)


def interview(library: Library, boxed: Sequence[float] | None = None) -> Generator[Question, Any, Answers]:
    """Ask for a plan.

    Parameters
    ----------
    library : Library
        The parts to choose from.
    boxed : sequence of float, optional
        Widths of fans that are known from boxes: then only place, house and mounting are asked for. [m]

    Yields
    ------
    Question
        Send the value of its answer in return.

    Returns
    -------
    Answers
        For :func:`solarvent.plan.starter.plan_text`.
    """
    units = yield choose(
        "Your units", "metric", "In which results are shown. An answer may use any of them, if it says which.",
        {"metric": "metric: m, degC, m3/h", "us": "us: ft, degF, cfm"},
    )  # fmt: skip
    answers = Answers(units)
    yield from _house(answers, library)
    yield from _place(answers, library)
    if boxed is None:
        yield from ask_panel(answers, library)
    direction = f"{'south' if answers.latitude >= 0 else 'north'}-west {USUAL_TILT:g}"
    answers.azimuth, answers.tilt = yield Question(
        "Where does the panel look, and how steep is it", direction,
        'A direction and degrees from flat: "south 30", "SW 45". 0 is flat on its back, 90 upright. For the heat of the'
        " afternoon the west side is worth more than the noon side.",
        facing,
    )  # fmt: skip
    if boxed is None:
        yield from ask_fans(answers, library)
        yield from ask_between(answers, library)
        answers.lead, answers.wire = yield Question(
            "Lead from the panel to the fans: length, thickness",
            "4 m, 18 AWG" if units == "metric" else "13 ft, 18 AWG",
            "One way. The thickness is printed on the jacket, in AWG or mm2: 18 AWG and 0.75 mm2 are usual; telephone"
            " or bell wire is 24 AWG or 0.22 mm2, the power wires of a USB lead 24 to 28 AWG.",
            cable(library),
        )  # fmt: skip
    widths = boxed or [parse(kind.size, "length") for kind in answers.fans for _ in range(kind.count)]
    holes = sum(0.785 * width**2 for width in widths)
    unit = "cm2" if units == "metric" else "in2"
    answers.inlet = yield Question(
        "Opening through which fresh air comes in, besides cracks",
        f"{float(format(convert(_INLET * holes, 'area', unit), '.2g')):g} {unit}",
        'Its area, or its two sides: "20 cm x 30 cm", "8 in x 12 in"; "none" if there is none. The default is three'
        " times the fans' own holes. What lies in it (mesh, louvre, shutter) can be changed in the plan.",
        area,
    )  # fmt: skip
    return answers


def written_plan(library: Library) -> Generator[Question, Any, str]:
    """Ask for a whole plan, and return its text; see :func:`interview`."""
    answers = yield from interview(library)
    return plan_text(answers)


def _house(answers: Answers, library: Library) -> Asking:
    """Ask what is ventilated, and how large it is."""
    us = answers.units == "us"
    answers.use = yield choose("What is to be ventilated", "greenhouse", "Choose the nearest.", _USES)
    answers.shape, cover, floor, heights = _USUAL[answers.use]
    if answers.use in ("greenhouse", "shed"):
        answers.shape = yield choose("Its roof", answers.shape, "Choose the nearest.", _SHAPES)
    answers.length, answers.width = yield Question(
        "Its floor, length x width", floor[us], 'Outside, paced out is good enough: "3 m x 2 m", "10 ft x 8 ft".',
        several(Length, 2, "length x width"),
    )  # fmt: skip
    read_heights = several(LengthOrZero, 2, "height of the low wall x height at the top")

    def two_heights(text: str) -> list[str]:
        low, top = read_heights(text)
        if not 0 < parse(top, "length") >= parse(low, "length"):
            raise QuantityError.single("", "the top is not above the wall", "give the wall first")
        return [low, top]

    answers.eaves, answers.ridge = yield Question(
        "Its height, at the low wall x at the top", heights[us],
        "From the floor. Twice the same for a flat roof; 0 m for hoops that start at the ground.", two_heights,
    )  # fmt: skip
    covers = library.names("covers")
    del covers["shade-cloth-50"], covers["insect-mesh"]
    answers.cover = yield choose("What are walls and roof made of", cover, "Choose what most of it is made of.", covers)


def _place(answers: Answers, library: Library) -> Asking:
    """Ask where it stands, and for a weather that is like the one there."""
    answers.latitude, answers.longitude = yield Question(
        "Where does it stand, latitude and longitude", f"{_EMBEDDED[0]}, {_EMBEDDED[1]}",
        'In degrees, from any map: "51.5, -2.6" or "51.5 N 2.6 W". Half a degree is near enough. The default is the'
        " place of the weather year that comes with the program.",
        position,
    )  # fmt: skip
    here = answers.latitude, answers.longitude
    near = max(abs(value - own) for value, own in zip(here, _EMBEDDED, strict=True)) <= 1
    east = round(answers.longitude / 15)
    usual = f"Etc/GMT{-east:+d}" if east else "UTC"
    answers.timezone = yield Question(
        "Your time zone", "America/New_York" if near else usual,
        'Its name, which often is a town: "Europe/London", "America/Denver", "Auckland". The default goes by the sun'
        " and knows no daylight saving.",
        zone,
    )  # fmt: skip
    if near:
        return
    climates = library.entries("climates")
    north = answers.latitude >= 0

    def unlike(name: str) -> float:
        usual = float(climates[name].get("latitude", 90))
        # Degrees apart; a climate of the other half of the world does as well, if none of this one is as near.
        return abs(abs(usual) - abs(answers.latitude)) + (_OTHER_HALF if (usual >= 0) != north else 0)

    answers.climate = yield choose(
        "Which climate is most like yours", min(climates, key=unlike),
        "The default is the one of the nearest latitude, and may be wrong for your coast or your height. A real year of"
        " hours is better: the plan says how to fetch one.",
        library.names("climates"),
    )  # fmt: skip
