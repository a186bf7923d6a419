"""How the meter is set, and where each of its probes goes."""

from __future__ import annotations

from solarvent.plan.connectors import read_families
from solarvent.plan.parts import Connector
from solarvent.plan.plan import Plan


def volt_setting(highest: float) -> str:
    """Name the range for a voltage [V]; a 20 V range is too small for most panels."""
    span = next(span for span in (2, 20, 200, 600) if highest <= span)
    return f"DC volts, {span} V range"


def ampere_setting(highest: float) -> str:
    """Name the range for a current [A]; the small range has a fuse that a slip blows."""
    if highest > 10:
        return "a DC clamp meter, for this is more than the 10 A range bears"
    return "DC amperes, 10 A range, red lead in the 10 A socket"


def probe_at(plan: Plan, connector: Connector | None, setting: str) -> str:
    """Say where the probes go on an end of a lead.

    Parameters
    ----------
    plan : Plan
        For its library.
    connector : Connector or None
        The end; None if the plan does not say what it is.
    setting : str
        Of the meter.

    Returns
    -------
    str
    """
    if connector is None:
        return f"{setting}; red on the contact that should be +, black on the other"
    family = read_families(plan.library)[connector.family]
    positive = connector.positive or family.usual_positive
    contacts = (name for name in (family.power or family.positions) if name != positive)
    other = connector.negative or next(contacts, "other")
    if "centre" in family.positions:
        place = "in the hole" if connector.body == "plug" else "on the pin"
        place_of = {"centre": f"the centre, {place}", "sleeve": "the outer sleeve"}
    elif family.any_position:
        place_of = {name: f"the {name} wire" for name in (positive, other)}
    else:
        place_of = {}
    red, black = (place_of.get(name, f"the contact called {name}") for name in (positive, other))
    unsure = "" if connector.positive or family.fixed else "; the plan does not know this pole, so read the sign"
    return f"{setting}; red on {red}, black on {black}{unsure}"
