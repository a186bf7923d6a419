"""A sound plan in which every end is described, and the ways in which its wiring goes wrong."""

from __future__ import annotations

B21, B25, FLAT = "barrel-5.5x2.1", "barrel-5.5x2.5", "flat-two-pin"


def plug(family=B21, **more):
    return {"family": family, "body": "plug"} | more


def jack(family=B21, **more):
    return {"family": family, "body": "jack"} | more


def flat(**more):
    return {"family": FLAT} | more


def usb_lead(**more):
    return [{"id": "main", "length": "1 m", "inlet": plug("usb-a"), "outlet": jack("usb-a"), "crosses": False} | more]


#: A panel, a lead, a splitter and two fans; every end is described, every pole is known, and nothing is wrong.
PANEL = {"id": "roof", "part": "panel-30w", "tilt": 35, "azimuth": 200, "outlet": plug(positive="centre")}
MAIN = {"id": "main", "length": "4 m", "wire": "18 AWG", "inlet": jack(), "outlet": plug(), "crosses": False}
SPLIT = {"id": "split", "branches": 2, "length": "0 m", "trunk": jack(), "branch": plug(), "crosses": False}
EAST = {"id": "east", "part": "fan-24v-120x25", "inlet": jack(positive="centre")}
WEST = EAST | {"id": "west", "inlet": jack(positive="centre")}
WIRED = {
    "panel": [PANEL],
    "lead": [MAIN],
    "splitter": [SPLIT],
    "fan": [EAST, WEST],
    "wiring": {"runs": [["roof", "main", "split", "east"], ["roof", "main", "split", "west"]]},
}

#: The same with flat two-pin connectors all the way.
FLATS = {
    "panel.0.outlet": flat(positive="shrouded"),
    "lead.0.inlet": flat(),
    "lead.0.outlet": flat(),
    "splitter.0.trunk": flat(),
    "splitter.0.branch": flat(),
    "fan.0.inlet": flat(positive="exposed"),
    "fan.1.inlet": flat(positive="exposed"),
}
#: Bare wire from the panel into screw terminals at the lead.
BARE = {"lead.0.inlet": {"family": "screw-terminal", "positive": "plus"}}
#: A USB panel, a lead and one USB fan.
USB = {
    "panel.0": PANEL | {"part": "panel-usb-10w", "outlet": jack("usb-a")},
    "lead": usb_lead(),
    "splitter": [],
    "fan": [EAST | {"part": "fan-usb-80", "inlet": plug("usb-a")}],
    "wiring": {"runs": [["roof", "main", "east"]]},
}


def panels(*more, arrangement="parallel", fan="fan-24v-120x25", fuses=False, diodes=False):
    """Several panels into one joint, then the lead to one fan."""
    names = [f"panel-{number}" for number in range(len(more))]
    joint = {"id": "joint", "branches": len(more), "length": "0 m", "trunk": plug(), "branch": jack()}
    fuse = [
        {"id": f"fuse-{name}", "fuse": "3 A", "inlet": jack(), "outlet": plug(), "crosses": False}
        | ({"diode": "schottky-3a"} if diodes else {})
        for name in names
    ]
    return {
        "panel": [PANEL | {"id": name} | panel for name, panel in zip(names, more, strict=True)],
        "splitter": [joint | {"crosses": False, "arrangement": arrangement}],
        "lead": [MAIN, *(fuse if fuses else [])],
        "fan": [EAST | {"part": fan}],
        "wiring": {"runs": [[name, *([f"fuse-{name}"] if fuses else []), "joint", "main", "east"] for name in names]},
    }


def plate(v_mp):
    return {"part": None, "watts": f"{v_mp * 1.6:.3f} W", "v_mp": f"{v_mp} V", "i_mp": "1.6 A",
            "v_oc": f"{1.22 * v_mp} V", "i_sc": "1.7 A"}  # fmt: skip


# What goes wrong -> its code, its level, its part, the change that brings it, and the one that mends it.
CASES = {
    "two jacks that should meet": (
        "same-sex", "stop", "main", {"panel.0.outlet.body": "jack"}, {}),
    "a splitter whose trunk is for the other sex": (
        "splitter-wrong-way", "stop", "split", {"splitter.0.trunk.body": "plug"}, {}),
    "ends of quite different kinds": (
        "connector-mismatch", "stop", "east", {"fan.0.inlet": plug("usb-a")}, {}),
    "a barrel of 2.1 mm against one of 2.5 mm": (
        "look-alike", "stop", "east", {"fan.0.inlet.family": B25}, {}),
    "a flat two-pin panel whose exposed pin is +": (
        "polarity-reversed", "stop", "roof", FLATS | {"panel.0.outlet": flat(positive="exposed")}, FLATS),
    "a flat two-pin extension that crosses": (
        "polarity-reversed", "stop", "main", FLATS | {"lead.0.crosses": True}, FLATS),
    "a barrel whose centre is -": (
        "polarity-reversed", "stop", "roof", {"panel.0.outlet.positive": "sleeve"}, {}),
    "a barrel of which nobody knows the centre": (
        "polarity-unknown", "warn", "roof", {"panel.0.outlet.positive": None}, {}),
    "bare wires by their colours": (
        "bare-wire-unmarked", "warn", "roof", BARE | {"panel.0.outlet": {"family": "bare"}},
        BARE | {"panel.0.outlet": {"family": "bare", "positive": "black"}}),
    "a brushless fan that is reversed": (
        "polarity-reversed", "stop", "east", {"fan.0.inlet.positive": "sleeve"}, {}),
    "a protected brushless fan that is reversed": (
        "polarity-reversed", "warn", "east",
        {"fan.0.reverse_protected": True, "fan.0.inlet.positive": "sleeve"}, {"fan.0.reverse_protected": True}),
    "a brushed fan that is reversed": (
        "fan-runs-backward", "warn", "east",
        {"fan.0.motor": "brushed", "fan.0.inlet.positive": "sleeve"}, {"fan.0.motor": "brushed"}),
    "a diode that one panel does not need": (
        "diode-drop", "warn", "main", {"lead.0.diode": "silicon-1a"}, {}),
    "panels side by side that differ a little": (
        "panels-unlike", "warn", "joint", panels(plate(18.0), plate(15.5)), panels(plate(18.0), plate(17.0))),
    "panels side by side that differ much": (
        "panels-unlike", "stop", "joint", panels(plate(18.0), plate(6.0)), panels(plate(18.0), plate(18.0))),
    "three panels side by side without a fuse": (
        "panels-without-fuse", "warn", "panel-0", panels({}, {}, {}), panels({}, {}, {}, fuses=True)),
    "panels in series by mistake": (
        "panels-in-series", "stop", "joint", panels({}, {}, arrangement="series"), panels({}, {})),
    "fans in series": (
        "fans-in-series", "warn", "split", {"splitter.0.arrangement": "series"}, {}),
    "wire that is thinner than it is marked": (
        "wire-poor", "warn", "main", {"lead.0.wire_quality": 1.6}, {"lead.0.wire_quality": 1.0}),
    "contacts that have corroded": (
        "contacts-worn", "warn", "", {"wiring.contact_resistance": "0.15 ohm"}, {}),
    "a USB lead with a plug at both ends": (
        "usb-two-sources", "stop", "main", USB | {"lead": usb_lead(outlet=plug("usb-a"))}, USB),
    "a USB lead that has no power wires": (
        "usb-data-only", "stop", "main", USB | {"lead": usb_lead(usb_wires="data")},
        USB | {"lead": usb_lead(usb_wires="power")}),
    "a 12 V fan on a 5 V outlet": (
        "voltage-sides", "stop", "east",
        USB | {"fan": [EAST | {"part": "fan-12v-120x25", "inlet": plug("usb-a")}]}, USB),
    "the counting wire of a fan taken for its -": (
        "wrong-pair", "stop", "east",
        {"splitter.0.branch": {"family": "screw-terminal", "positive": "plus"},
         "fan.0.inlet": {"family": "fan-wires-3", "positive": "red", "negative": "yellow"}},
        {"splitter.0.branch": {"family": "screw-terminal", "positive": "plus"},
         "fan.0.inlet": {"family": "fan-wires-3", "positive": "red", "negative": "black"}}),
    "more current than a contact bears": (
        "contact-overloaded", "warn", "main", {"fan.0.rated_current": "2 A", "fan.1.rated_current": "1.5 A"}, {}),
    "PV halves of two makers": (
        "same-maker-only", "note", "roof",
        {"panel.0.outlet": {"family": "pv-4mm", "positive": "socket"}, "lead.0.inlet": {"family": "pv-4mm"}}, {}),
    "clips left in the wiring": (
        "clips-in-use", "warn", "main",
        {"panel.0.outlet": {"family": "bare", "positive": "red"},
         "lead.0.inlet": {"family": "clips", "positive": "red"}}, {}),
    "a USB-C outlet without the resistors of a device": (
        "usb-c-resistors", "note", "roof",
        USB | {"panel.0.outlet": jack("usb-c"), "lead": usb_lead(inlet=plug("usb-c"))}, USB),
    "a USB-C lead into a fan without the resistors": (
        "usb-c-resistors", "stop", "east",
        USB | {"panel.0.outlet": jack("usb-c"), "lead": usb_lead(inlet=plug("usb-c"), outlet=plug("usb-c")),
               "fan": [EAST | {"part": "fan-usb-80", "inlet": jack("usb-c")}]},
        # A USB-A outlet asks for none, and so needs none in the lead to the same fan.
        USB | {"lead": usb_lead(outlet=plug("usb-c")),
               "fan": [EAST | {"part": "fan-usb-80", "inlet": jack("usb-c")}]}),
    "the plug of a 21 mm socket in a 12 mm one": (
        "look-alike", "stop", "main",
        {"panel.0.outlet": jack("vehicle-12mm"), "lead.0.inlet": plug("vehicle-21mm")},
        {"panel.0.outlet": jack("vehicle-12mm"), "lead.0.inlet": plug("vehicle-12mm")}),
    "a diode whose ring looks to the panel": (
        "diode-reversed", "stop", "main", {"lead.0.diode": "schottky-3a", "lead.0.diode_reversed": True},
        {"lead.0.diode": "schottky-3a"}),
    "a fuse under the current of the fans": (
        "fuse-too-small", "stop", "main", {"lead.0.fuse": "0.2 A"}, {"lead.0.fuse": "1 A"}),
    "a fuse above what the wire bears": (
        "fuse-too-large", "warn", "main", {"lead.0.fuse": "30 A", "lead.0.wire": "22 AWG"},
        {"lead.0.fuse": "2 A", "lead.0.wire": "22 AWG"}),
    "unlike panels on a battery without a diode": (
        "no-blocking-diode", "warn", "panel-0",
        panels(plate(18.0), plate(17.0), fan="fan-12v-120x25")
        | {"battery": {"capacity": "84 Wh", "fuse": "2 A"}},
        panels(plate(18.0), plate(17.0), fan="fan-12v-120x25", fuses=True, diodes=True)
        | {"battery": {"capacity": "84 Wh", "fuse": "2 A"}}),
    "ends that nobody described": (
        "connectors-not-described", "warn", "main", {"panel.0.outlet": None}, {}),
    "two panels joined + to -": (
        "sources-opposed", "stop", "east", panels({}, {"outlet": plug(positive="sleeve")}), panels({}, {})),
}  # fmt: skip

#: A box with a lead that steps the volts of a USB socket up.
STEPPED_UP = """
kit_version = 1
[[panel]]
id = "panel"
part = "panel-20w"
outlet = { family = "usb-a", body = "jack" }
[[converter]]
id = "boost-lead"
part = "boost-5v-12v"
inlet = { family = "usb-a", body = "plug" }
outlet = { family = "barrel-5.5x2.1", body = "plug", positive = "centre" }
[[fan]]
id = "fan"
part = "fan-12v-80x25"
inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }
"""
