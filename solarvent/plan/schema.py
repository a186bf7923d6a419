"""The JSON Schema of the plan file, for editors: every key with what it means."""

from __future__ import annotations

from typing import Any

from solarvent.plan.plan_record import PlanRecord

#: What keys mean that stand in many tables, and those of one table as ``Table.key``.
_MEANINGS = {
    "id": "the plan's own word for it, by which runs and answers name it",
    "part": "entry of the parts library whose figures hold where the plan gives none",
    "name": "what it is, in words",
    "source": "where its figures come from",
    "price": "in the plan's money; only sums of it are shown",
    "inlet": "the end that takes power: family, body, contact and where + sits",
    "outlet": "the end that gives power: family, body, contact and where + sits",
    "wire": 'size of one conductor: "18 AWG" or "0.75 mm2"',
    "wire_quality": "resistance over that of copper of this size; 1.3 for thin or copper-clad wire",
    "count": "how many alike",
    "wall_azimuth": "the way its wall faces; degrees from north",
    "Cable.wire": 'size of one conductor: "18 AWG" or "0.75 mm2"',
    "Fan.speed_exponent": "current follows the voltage to this power while it turns; 1 unless measured",
    "Fan.motor": "what it does standing: tries again and again, or is held with its locked-rotor current",
    "Fan.reverse_protected": "reversed poles do not harm it",
    "Fan.free_air_flow": "at its rated voltage with nothing in the way",
    "Fan.shutoff_pressure": "at its rated voltage against a shut wall",
    "Heater.fuel": "what it burns, or electric",
    "House.shape": "form of the roof and walls",
    "House.cover": "entry of the covers that the house is glazed with",
    "House.use": "greenhouse, shed, coop or camper: what lives or is kept in it",
    "House.tightness": "how tight the cover is; decides the cracks",
    "Mass.stands_on": "what it stands on and exchanges heat with",
    "Obstacle.kind": "what stands there",
    "Opening.discharge_coefficient": "share of the ideal flow that comes through; 0.6 for a plain hole",
    "Opening.on": "wall or roof in which it lies",
    "Panel.watts": "of its plate, in full sun",
    "Panel.v_oc": "open-circuit voltage of its plate",
    "Panel.i_sc": "short-circuit current of its plate",
    "Panel.v_mp": "voltage of its plate at the greatest power",
    "Panel.i_mp": "current of its plate at the greatest power",
    "Panel.cells_in_series": 'cells one behind the other; 36 for a "12 V" panel',
    "Panel.width": "of the whole panel",
    "Panel.height": "of the whole panel",
    "Panel.single_diode": "the five parameters of its single diode, in place of the plate",
    "Place.albedo": "share of the light that the ground gives back",
    "Splitter.branches": "how many ways it divides to",
    "Splitter.arrangement": "its branches beside each other, or one behind the other",
    "Splitter.trunk": "the end towards the panel",
    "Splitter.branch": "the ends towards the fans",
    "Lead.diode": "a diode in it: the name of an entry, or its figures",
    "Target.air_changes": "air changes an hour that are wanted, in place of a rise",
    "Target.flow": "flow that is wanted, in place of a rise",
    "Target.start": "clock time from which air is needed, HH:MM",
    "Target.end": "clock time to which air is needed, HH:MM; earlier than the start: over midnight",
    "Weather.embedded": "the year that comes with the program",
    "Weather.clear_sky": "a year without a cloud, in place of weather",
    "plan_version": "of the form of this file",
    "title": "what the plan is called in answers",
    "notes": "words for yourself",
    "units": "metric or us: how answers are shown",
    "place": "where it stands",
    "weather": "the hours of light and air: a file, a climate, or the embedded year",
    "sky": "how a broken sky is read",
    "obstacle": "what stands between the panels and the sky",
    "house": "its size, cover and use",
    "target": "when air is needed, and how much is enough",
    "panel": "the panels",
    "fan": "the fans",
    "lead": "leads with ends of their own",
    "splitter": "splitters and junctions",
    "converter": "what stands between panels and fans",
    "opening": "ways for air other than fans",
    "mass": "water and other things that store heat",
    "heater": "a heater for cold nights",
    "screen": "a screen that is drawn at night",
    "shade": "cloth against the sun",
    "battery": "a battery with its controller",
    "wiring": "how the parts are joined: a layout, or runs of ids from source to load",
}


def plan_schema() -> dict[str, Any]:
    """Give the JSON Schema of a plan file.

    Returns
    -------
    dict
        Draft 2020-12; each key says in its ``description`` what it means, and keys that a library entry may supply are
        not required.

    Examples
    --------
    >>> plan_schema()["properties"]["fan"]["description"]
    'the fans'
    """
    schema = PlanRecord.model_json_schema()
    for name in ("Panel", "Fan", "Lead", "Splitter", "Converter", "Opening", "Mass"):
        schema["$defs"][name].pop("required", None)
    tables = {**schema.get("$defs", {}), "": schema}
    for name, table in tables.items():
        for key, entry in table.get("properties", {}).items():
            if "description" not in entry and (words := _MEANINGS.get(f"{name}.{key}", _MEANINGS.get(key))):
                entry["description"] = words
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "solarvent plan", **schema}
