import re

import pytest

from solarvent.bench.preparation import ampere_setting, prepare, shopping, volt_setting
from solarvent.bench.steps import PHASES, building_steps, checklist


def steps(loaded, **options):
    return building_steps(prepare(loaded, **options))


def numbers(text):
    return [float(word) for word in re.findall(r"-?\d+\.?\d*", text)]


def find(found, words):
    return next(step for step in found if words in step.do)


@pytest.fixture(scope="module")
def small(small_plan):
    return steps(small_plan())


def test_phases_come_in_order_and_none_is_empty(small):
    order = [step.phase for step in small]
    assert list(dict.fromkeys(order)) == list(PHASES)
    assert order == sorted(order, key=list(PHASES).index)


def test_fans_that_start_in_the_same_light_share_a_number(small_plan):
    fans = [{"id": name, "part": "fan-12v-120x25"} for name in ("east", "west")]
    apart, together = (
        find(steps(small_plan({"fan": fans} | change)), "uncover the panel slowly").expect
        for change in ({}, {"wiring.converter": "buck-12v"})
    )
    assert re.match(r"they start from about east, west: \d+, then \d+ W/m2", apart)
    assert re.match(r"they start from about east, west: \d+ W/m2", together)


def test_no_text_is_left_open(small):
    for step in small:
        assert step.do.endswith((".", "?")), step.do
        assert step.expect
        for text in vars(step).values():
            assert "None" not in text
            assert "nan" not in text
            assert "  " not in text


def test_open_circuit_follows_the_heat_of_the_cells(small_plan):
    """22.0 V at 25 degC and -0.33 %/K: 20.2 V at 50 degC, 22.7 V at 15 degC; less light lowers it a little."""
    for temp_cell, volts in ((25.0, 22.0), (50.0, 20.2), (15.0, 22.7)):
        found = steps(small_plan(), irradiance=1000.0, temp_cell=temp_cell)
        assert numbers(find(found, "nothing joined. Meter").expect)[0] == pytest.approx(volts, abs=0.15)


def test_short_circuit_follows_the_light(small_plan):
    """1.8 A at 1000 W/m2."""
    for light in (300.0, 600.0, 1000.0):
        found = steps(small_plan(), irradiance=light, temp_cell=25.0)
        assert numbers(find(found, "through the meter").expect)[0] == pytest.approx(1.8 * light / 1000, abs=0.011)


def test_loop_resistance_is_twice_the_length(small):
    """ASTM B258: 18 AWG has 20.9 ohm/km; 4 m there and back are 0.167 ohm."""
    assert numbers(find(small, "Short the far end of main-lead").expect)[0] == pytest.approx(0.167, abs=0.005)


def test_every_expected_number_lies_in_its_own_span(small_plan, small):
    for step in small:
        spans = re.findall(r"(-?[\d.]+) (?:V )?(?:\(hot\) )?to (-?[\d.]+) (V|A)", step.tolerance)
        for low, high, unit in spans:
            value = re.search(rf"(-?[\d.]+) {unit}\b", step.expect)
            assert value
            assert float(low) <= float(value.group(1)) <= float(high), step


def test_the_last_plug_before_each_fan_is_metered_before_it_is_joined(small_plan, small):
    order = [step.do for step in small]
    for fan in ("east", "west"):
        metered = next(k for k, text in enumerate(order) if f"the last plug before {fan}" in text)
        joined = next(k for k, text in enumerate(order) if f"{fan} on branch-{fan}" in text)
        assert metered < joined
    covered = next(k for k, text in enumerate(order) if text.startswith("Cover the panel again"))
    last = next(k for k, text in enumerate(order) if text.startswith("Last of all join"))
    assert covered < joined < last


def test_a_fan_is_tried_on_a_source_that_starts_it_and_does_not_hurt_it(small_plan):
    for part, words in (("fan-12v-120x25", "9 V battery"), ("fan-24v-120x25", "18 V"), ("fan-usb-120", "USB port")):
        found = steps(small_plan({"fan": [{"id": "one", "part": part}]}))
        assert words in find(found, "Turn each fan").do


def test_a_fan_with_too_much_voltage_is_told_before_it_is_joined(small_plan):
    loaded = small_plan({"fan": [{"id": "one", "part": "fan-12v-80x25"}], "panel.0.part": "panel-50w"})
    step = find(steps(loaded), "Meter at one")
    assert "more than the 13.8 V that it stands" in step.expect


def test_a_gravity_shutter_and_a_coop_get_their_own_steps(small_plan, small):
    loaded = small_plan({"house.use": "coop", "fan.0.outlet_opening": "gravity-shutter"})
    found = [step.do for step in steps(loaded)]
    assert any("Lift the blades" in text for text in found)
    assert any("Keep vents open" in text for text in found)
    assert not any("Lift the blades" in step.do for step in small)


def test_settings_suit_the_reading():
    assert volt_setting(19.0) == "DC volts, 20 V range"
    assert volt_setting(21.0) == "DC volts, 200 V range"
    assert "clamp" in ampere_setting(12.0)
    assert "10 A socket" in ampere_setting(3.0)


def test_probes_name_the_contacts_of_a_known_connector(small_plan):
    plug = {"family": "barrel-5.5x2.1", "body": "plug", "positive": "sleeve"}
    probe = find(steps(small_plan({"panel.0.outlet": plug})), "nothing joined. Meter").probe
    assert "red on the outer sleeve, black on the centre, in the hole" in probe
    loose = {"family": "bare", "positive": "brown", "negative": "blue"}
    probe = find(steps(small_plan({"panel.0.outlet": loose})), "nothing joined. Meter").probe
    assert "red on the brown wire, black on the" in probe
    unknown = {"family": "flat-two-pin"}
    probe = find(steps(small_plan({"panel.0.outlet": unknown})), "nothing joined. Meter").probe
    assert "red on the contact called shrouded" in probe
    assert "does not know this pole" in probe


@pytest.mark.parametrize("layout", ["shared", "series", "one-each"])
def test_every_layout_gives_a_list(small_plan, layout):
    panels = [{"id": name, "part": "panel-30w"} for name in ("left", "right")]
    found = steps(small_plan({"panel": panels, "wiring.layout": layout}))
    assert {step.phase for step in found} == set(PHASES)
    assert "panel left" in " ".join(step.do for step in found)


def test_lengths_follow_the_units(small_plan):
    found = steps(small_plan(), system="us")
    assert "13.1 ft" in find(found, "Short the far end of main-lead").do


def items(loaded):
    return {item.item: item for item in shopping(prepare(loaded))}


def test_shopping_counts_alike_parts_together_and_adds_a_tenth_of_cable(small_plan):
    found = items(small_plan())
    fan = next(item for name, item in found.items() if "24 V axial fan" in name)
    assert (fan.count, fan.why) == (2, "fans east and west")
    cable = found["two-core cable 18 AWG, copper, for outdoors"]
    # The main lead has 4 m and the two branches 1 m each, all of 18 AWG.
    assert (cable.count, cable.unit) == (7, "m")
    assert found["finger guard"].count == 4


def test_the_fuse_bears_the_panel_and_three_panels_get_one_each(small_plan):
    """1.56 x 1.8 A = 2.8 A (NEC 690.8): the next fuse is 3 A; from three panels in parallel on, one in each."""
    assert any(name.startswith("3 A fuse") for name in items(small_plan()))
    panels = [{"id": f"p{number}", "part": "panel-30w"} for number in range(3)]
    found = items(small_plan({"panel": panels}))
    assert found["3 A fuse with holder"].count == 3


def test_known_plugs_are_named_and_counted(small_plan):
    ends = {"family": "barrel-5.5x2.1", "body": "jack"}
    plug = {"family": "barrel-5.5x2.1", "body": "plug"}
    loaded = small_plan(
        {
            "panel.0.outlet": plug,
            "fan": [{"id": "east", "part": "fan-24v-120x25", "inlet": ends}],
            "lead": [{"id": "long", "part": "extension-5m-18awg", "inlet": ends, "outlet": plug}],
            "wiring": {"runs": [["roof", "long", "east"]]},
        }
    )
    found = items(loaded)
    assert found["barrel 5.5 x 2.1 mm plug"].count == 1
    assert found["barrel 5.5 x 2.1 mm jack"].count == 1
    assert not any("terminal in a box" in name for name in found)


def chain(small_plan, fan_positive, crosses=False):
    """A panel with its + in the centre, a lead, and a fan."""
    barrel = {"family": "barrel-5.5x2.1"}
    lead = {"id": "long", "part": "extension-5m-18awg", "inlet": barrel | {"body": "jack"}, "crosses": crosses}
    fan = {"id": "east", "part": "fan-24v-120x25", "inlet": barrel | {"body": "jack", "positive": fan_positive}}
    return small_plan(
        {
            "panel.0.outlet": barrel | {"body": "plug", "positive": "centre"},
            "fan": [{key: value for key, value in fan.items() if value is not None}],
            "lead": [lead | {"outlet": barrel | {"body": "plug"}}],
            "wiring": {"runs": [["roof", "long", "east"]]},
        }
    )


def test_the_last_plug_tells_what_the_plan_knows_of_the_poles(small_plan):
    kept = find(steps(chain(small_plan, "centre")), "the last plug before east")
    assert kept.expect.endswith("by the plan + meets the + of the fan here")
    turned = find(steps(chain(small_plan, "centre", crosses=True)), "the last plug before east")
    assert "+ would meet the - of the fan" in turned.expect


def test_poles_that_would_destroy_a_fan_stop_the_list(small_plan):
    assert checklist(chain(small_plan, "centre")).stops == []
    (words,) = checklist(chain(small_plan, "sleeve")).stops
    assert "The poles change places at east" in words
    assert checklist(chain(small_plan, "sleeve", crosses=True)).stops == []


def test_without_connectors_nothing_is_claimed_about_poles(small_plan, small):
    assert "by the plan" not in " ".join(step.expect for step in small)
    assert "does not know the poles" not in " ".join(step.expect for step in small)


def behind(small_plan, converter):
    wiring = {"wiring.layout": None, "wiring.lead": None, "wiring.runs": [["roof", "board", "cord", "east"]]}
    return small_plan(
        wiring
        | {
            "panel": [{"id": "roof", "part": "panel-usb-10w" if "usb" in converter else "panel-30w"}],
            "converter": [{"id": "board", "part": converter}],
            "lead": [{"id": "cord", "length": "4 m", "wire": "24 AWG"}],
            "fan": [{"id": "east", "part": "fan-usb-120" if "usb" in converter else "fan-12v-120x25"}],
        }
    )


def test_a_lead_behind_a_converter_is_metered_at_the_voltage_of_the_converter(small_plan):
    found = find(steps(behind(small_plan, "buck-12v")), "Put cord on")
    assert found.expect.startswith("12.0 V as at board")


@pytest.mark.parametrize(("converter", "how"), [("buck-12v", "its input towards"), ("clamp-13v", "across the line")])
def test_a_converter_is_put_in_and_read_before_anything_hangs_on_it(small_plan, converter, how):
    found = steps(behind(small_plan, converter))
    put = find(found, "Put board on the panel")
    assert how in put.do
    assert put.expect == f"{converter.partition('-')[2][:2]}.0 V, without a minus sign"
    assert found.index(put) < found.index(find(found, "Put cord on"))


def test_a_panel_with_a_socket_is_metered_at_it_and_never_shorted(small_plan):
    loaded = behind(small_plan, "panel-usb-socket")
    found = steps(loaded)
    # USB 2.0, section 7.2.2: 4.75 to 5.25 V at the port (from memory).
    assert find(found, "at its socket").tolerance == "4.75 to 5.25 V"
    assert not any(step.do.startswith("Short the panel") for step in found)
    assert find(found, "Last of all").do == "Last of all join cord to the socket of the panel, still covered."
    assert not any("socket" in item.item for item in shopping(prepare(loaded)))


def test_of_usb_plugs_nobody_is_asked_to_meter_or_join_a_wire(small_plan):
    plug, jack = ({"family": "usb-a", "body": body} for body in ("plug", "jack"))
    ends = {
        "fan.0.inlet": plug, "lead.0.inlet": plug, "lead.0.outlet": jack, "converter.0.outlet": jack,
        "converter.0.inlet": {"family": "soldered"}, "panel.0.outlet": {"family": "soldered"},
    }  # fmt: skip
    loaded = behind(small_plan, "panel-usb-socket").with_(ends)
    found = steps(loaded)
    for words in ("face down", "Turn each fan", "at its socket", "Put cord on", "Meter at east"):
        assert find(found, words).probe.startswith("a USB meter"), words
    told = " ".join(f"{step.do} {step.probe} {step.otherwise}" for step in found)
    for words in ("Red wire", "red to +", "2.1 mm pin", "Short the far end", "Only one turns"):
        assert words not in told
    assert not any("USB-A" in item.item for item in shopping(prepare(loaded)))
    row = next(row for row in checklist(loaded).wiring if row.probe == "A")
    assert row.probe_words == "5.0 V at its socket with nothing joined"


def test_the_probes_follow_the_plus_that_the_plan_knows(small_plan):
    # + on the sleeve of the panel's plug: a straight extension carries it there, and that is no fault of the lead.
    unusual = {"family": "barrel-5.5x2.1", "body": "plug", "positive": "sleeve"}
    loaded = small_plan(
        {
            "panel": [{"id": "roof", "part": "panel-30w", "outlet": unusual}],
            "lead": [{"id": "cord", "part": "extension-barrel-5.5x2.1-3m"}],
            "fan": [{"id": "east", "part": "fan-24v-120x25", "inlet": {"family": "barrel-5.5x2.1", "body": "jack"}}],
            "wiring.layout": None, "wiring.lead": None, "wiring.runs": [["roof", "cord", "east"]],
        }
    )  # fmt: skip
    probe = find(steps(loaded), "Put cord on").probe
    assert "red on the outer sleeve, black on the centre, in the hole" in probe
    assert "does not know" not in probe


def test_the_probes_behind_a_converter_follow_the_plus_too(small_plan):
    plug, jack = ({"family": "barrel-5.5x2.1", "body": body} for body in ("plug", "jack"))
    loaded = small_plan(
        {
            "panel": [{"id": "roof", "part": "panel-30w", "outlet": plug | {"positive": "sleeve"}}],
            "converter": [{"id": "board", "part": "clamp-13v", "inlet": jack, "outlet": plug, "crosses": False}],
            "fan": [{"id": "east", "part": "fan-12v-120x25", "inlet": jack | {"positive": "sleeve"}}],
            "wiring.layout": None, "wiring.lead": None, "wiring.runs": [["roof", "board", "east"]],
        }
    )  # fmt: skip
    probe = find(steps(loaded), "Put board on").probe
    assert "red on the outer sleeve" in probe
    assert "does not know" not in probe


def test_a_fan_straight_behind_a_converter_is_joined(small_plan):
    runs = {"wiring.layout": None, "wiring.lead": None, "wiring.runs": [["roof", "board", "east"]]}
    loaded = small_plan(
        runs | {"converter": [{"id": "board", "part": "buck-12v"}], "fan": [{"id": "east", "part": "fan-12v-120x25"}]}
    )
    assert "east on board" in find(steps(loaded), "Join each fan").do
    # Its twin has a lead between, and the fan is joined to that.
    assert "east on cord" in find(steps(behind(small_plan, "buck-12v")), "Join each fan").do


def test_a_thermostat_is_bought_and_put_in_line(small_plan):
    warm = small_plan({"thermostat": {"closes_at": "30 degC", "opens_at": "25 degC"}})
    step = find(steps(warm), "Put the thermostat into the + lead")
    assert "30 degC" in step.expect
    assert "alternating current" in step.otherwise
    assert "thermostat for direct current" in [item.item for item in shopping(prepare(warm))]
    assert not any("thermostat into" in step.do for step in steps(small_plan()))


def test_what_is_owned_is_told_from_what_is_to_be_bought(small_plan):
    bought = {"id": "west", "part": "fan-24v-120x25", "owned": False}
    items = shopping(prepare(small_plan({"fan.1": bought})))
    fans = {item.why: item.owned for item in items if item.why.startswith("fan ")}
    assert fans == {"fan east": True, "fan west": False}
    assert not next(item for item in items if item.item.startswith("two-core cable")).owned


def test_a_plan_with_a_stop_gets_a_short_list_of_what_to_change(small_plan):
    found = checklist(small_plan({"fan": [{"id": "one", "part": "fan-12v-80x25"}], "panel.0.part": "panel-50w"}))
    assert found.stops
    assert [step.do for step in found.steps] == found.stops
    # A stop about the whole house names no part.
    assert checklist(small_plan({"opening": []})).stops
    assert not found.shopping
    sound = checklist(small_plan())
    assert not sound.stops
    assert len(sound.steps) > 20
