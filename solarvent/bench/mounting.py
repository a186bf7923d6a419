"""Steps on the wall and through the seasons: where fan, panel, openings and leads go, and how they stay well."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.air.network import bare_hole, hole_area
from solarvent.base.findings import listed
from solarvent.base.quantities import compass, show
from solarvent.bench.preparation import Bench, Step
from solarvent.findings.air import INLET_GOOD
from solarvent.plan.connectors import read_families

#: Free area of the inlets over the holes of the fans that is better than just good (common practice, no source).
_INLET_BETTER = 3.0


def on_the_wall(bench: Bench) -> Iterator[Step]:
    """Mount fan, panel, openings and leads."""
    record = bench.plan.record
    by_wall: dict[float | None, list[str]] = {}
    for fan in record.fan:
        by_wall.setdefault(fan.wall_azimuth, []).append(fan.id)
    for azimuth, names in by_wall.items():
        yield _fan_place(azimuth, names, bench.system)
    yield Step(
        "If a vent opens by itself (wax cylinder), move it by hand through its whole travel, fan and guard in place.",
        expect="nothing is touched, and the fan is not right beside or below that vent",
        otherwise="A fan beside an open vent draws in through it and not through the house. Put it at the other end,"
        " or shut that vent while the fan runs.",
    )
    if record.opening:
        yield _inlets(bench)
    by_opening: dict[str, list[str]] = {}
    for fan in record.fan:
        by_opening.setdefault(fan.outlet_opening, []).append(fan.id)
    for kind, names in by_opening.items():
        opening = bench.plan.opening(kind)
        if opening.opening_pressure > 0:
            yield Step(
                f"Lift the blades of the {opening.name} at {listed(names)} with a finger.",
                expect="they move freely; they need"
                f" {show(opening.opening_pressure, 'pressure', bench.system)} to open",
                otherwise="Half the speed is a quarter of the pressure: they stay shut in weak sun. Prop them, or take"
                " a hood with mesh in their place.",
            )
    for panel in record.panel:
        behind = f" Not behind the glazing, as the plan has it ({panel.behind})." if panel.behind else ""
        yield Step(
            f"Fix {bench.called(panel)} on brackets, 25 mm of air behind, so that it comes down for cleaning.{behind}",
            expect=f"tilted {panel.tilt:g} degrees, looking {compass(panel.azimuth)}"
            f" ({panel.azimuth:g} degrees from north)",
            tolerance="10 degrees either way cost little",
            otherwise="No tape and no glue: wind lifts it. A hot panel without air behind loses voltage.",
        )
    yield Step(
        f"Look at the panel every hour from 10:00 to {record.target.end}: does the shadow of a frame, a bar, a post or"
        " a twig cross a cell?",
        expect="no shadow on any cell",
        otherwise="Move it. One shaded cell holds the whole panel back.",
    )
    yield Step(
        "Fasten each lead a hand's breadth from its plugs, and clip it each 30 cm. Let it hang in a loop below the"
        " point where it enters. Lead it through the wall from below, in a gland or a rubber bush.",
        expect="a light pull does not reach any plug; water drips off before the entry",
        otherwise="Thin wire tears out of plugs; water runs along a lead into the fan.",
    )
    yield _plugs(bench)
    yield Step(
        "Put finger guards on both sides of every fan that a child, a tail or a fledgling can reach.",
        expect="no finger reaches the blades",
    )
    yield from _air(bench)


def _fan_place(wall_azimuth: float | None, names: list[str], system: str) -> Step:
    """Say where the fans of one wall go."""
    where = "high up, on the side away from the usual wind, blowing out"
    if wall_azimuth is not None:
        where = f"high up in the wall that faces {compass(wall_azimuth)}, blowing out"
    return Step(
        f"Set {listed(names)} {where}, under a hood. It usually blows to the side with the struts; the arrow wins.",
        expect="the usual wind does not blow against it; the inlet is low, at the far end",
        otherwise=f"A breeze of {show(3.0, 'speed', system, 0)} stops a weak fan. A fan that blows in works too, if it"
        " does not blow on plants or perches.",
    )


def _inlets(bench: Bench) -> Step:
    """Hold the inlets against the holes of the fans."""
    record = bench.plan.record
    holes = bare_hole(sum(hole_area(fan) for fan in record.fan))
    whole = sum(opening.area or 0.0 for opening in record.opening)
    free = sum((opening.area or 0.0) * opening.free_share for opening in record.opening)
    out_of = f" of {show(whole, 'area', bench.system)}" if free < whole else ""
    names = ", ".join(str(opening.id or opening.name) for opening in record.opening)
    return Step(
        f"Open the inlets ({names}) and measure their free area: the hole without blades and mesh.",
        expect=f"{show(free, 'area', bench.system)}{out_of}, as the plan has it",
        tolerance=f"{show(INLET_GOOD * holes, 'area', bench.system)} at the least, "
        f"better {show(_INLET_BETTER * holes, 'area', bench.system)}:"
        f" {INLET_GOOD:g} to {_INLET_BETTER:g} times the fans' holes",
        otherwise="Too small an inlet chokes every fan. Fine mesh needs a box of three to five times the hole.",
    )


def _plugs(bench: Bench) -> Step:
    """Say what weather the plugs bear."""
    families = read_families(bench.plan.library)
    joins = bench.harness.joins
    used = {port.connector.family for join in joins for port in (join.source, join.sink) if port.connector is not None}
    tender = sorted(families[name].name for name in used if families[name].weather != "outdoor")
    about = f" Not made for rain: {', '.join(tender)}." if tender else ""
    return Step(
        f"Bring every plug under the roof or into a box with a drain hole at its lowest point, openings down.{about}",
        expect="no plug is where rain or a hose hits it",
        otherwise="A box that is sealed badly fills with damp: one small hole high up is worst. Grease helps contacts.",
    )


def _air(bench: Bench) -> Iterator[Step]:
    """Prove that the air goes through the house."""
    record = bench.plan.record
    yield Step(
        "With the fans on and the door shut hold a tissue to the inlet, to each fan, and to every crack and vent.",
        expect="in at the inlet, out at every fan",
        otherwise="In at a stopped fan: it is a hole; give it a shutter. In beside the fan: a short way round; close"
        " it. Out at the inlet: the fan is the wrong way round.",
    )
    yield Step(
        "Hold a tissue where plants or perches stand, at the height of a seedling and of a bird at rest.",
        expect="it hardly moves",
        otherwise="A draught dries seedlings and drives birds off. Put a board before the inlet that turns the air up,"
        " or move the inlet.",
    )
    yield Step(
        f"Read inside and outside temperature in the shade at {record.target.start} and {record.target.end}, one sunny"
        " day with the fans and one without.",
        expect="a smaller rise with the fans; never cooler than outside",
        otherwise="No difference: look at the inlet and for a short way round, before you buy a larger panel.",
    )
    if record.house.use == "coop":
        yield Step(
            "Keep vents open that work without any fan.",
            expect="air for the birds at night, under cloud, and when the fan is dead",
            otherwise="Fans that follow the sun are no life support. Dust kills open motors: brush them weekly.",
        )


def seasons(bench: Bench) -> Iterator[Step]:
    """Keep it well."""
    if bench.plan.record.storage is not None:
        yield Step(
            "Autumn: charge the battery full and leave it on its panel, or take it in, dry and free of frost.",
            expect="it is full in winter too",
            otherwise="A lead battery that stands empty freezes; a lithium one must not be charged in frost.",
        )
    yield Step(
        "Spring: cover the panel, turn each fan with a finger, look for wasps and webs, tighten, pull at every plug.",
        expect="blades coast to a stop; contacts are bright",
        otherwise="Stiff: a dry bearing, replace the fan before summer. Green contacts: clean, grease, renew.",
    )
    yield Step(
        "Spring, on a clear noon: repeat the readings of the panel alone and of each fan.",
        expect="last year's figures",
        tolerance="within 10 %",
        otherwise="Ask solarvent meter with the new readings.",
    )
    yield Step(
        "Each month in pollen and dust, early, on a cool panel: rinse it and wipe it with a soft cloth. Brush screens.",
        expect="fans start as early in the morning as when it was new",
        otherwise="A later start each week is dirt, or new leaves before the panel.",
    )
    yield Step(
        "Autumn: look where low sun now casts shadows; decide whether the fans may run on cold bright days. If not,"
        " unplug them with the panel covered.",
        expect="no cold draught on a frosty sunny morning",
        otherwise="A fan on a panel follows light, not heat; a thermostat for direct current in line is the other way.",
    )
