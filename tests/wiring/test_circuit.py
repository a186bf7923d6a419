from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from solarvent.base.errors import PlanError
from solarvent.wiring.circuit import (
    Circuit,
    DiodeLaw,
    Joined,
    Leaf,
    Through,
    circuits,
    conductor_current_basis,
    has_series,
    leaves,
    loop_resistance,
    temperature_factor,
)
from solarvent.wiring.harness import build_harness

CONTACT = 0.03
JOINT = 2 * CONTACT
#: Solid copper by ASTM B258 at 20 degC, as printed in handbooks, carried to the 45 degC of a lead in the sun with the
#: 0.00393 1/K of IEC 60028. [ohm/m]
AWG_18, AWG_20 = (ohm * (1 + 0.00393 * 25) for ohm in (0.0209, 0.0333))
PANELS = [{"id": "roof", "part": "panel-30w"}, {"id": "wall", "part": "panel-30w"}]
ONE_FAN = [{"id": "east", "part": "fan-24v-120x25"}]


def reduced(loaded):
    return circuits(build_harness(loaded), loaded)


def test_the_shared_circuit_counts_each_conductor_twice_and_each_joint_once(small_plan):
    (circuit,) = reduced(small_plan())
    assert circuit.source == Leaf("roof")
    trunk = circuit.load
    # Joints: panel to lead, lead to split.
    assert trunk.resistance == pytest.approx(2 * 4 * AWG_18 + 2 * JOINT, rel=1e-9)
    assert trunk.parts == ("main-lead", "fan-split")
    assert trunk.child.arrangement == "parallel"
    for branch, fan in zip(trunk.child.members, ("east", "west"), strict=True):
        assert branch.child == Leaf(fan)
        # The usual branch is 1 m of 18 AWG, with a joint at each end.
        assert branch.resistance == pytest.approx(2 * 1 * AWG_18 + 2 * JOINT, rel=1e-9)


def test_thin_or_false_copper_and_what_else_lies_in_line_add_up(small_plan):
    lead = {"id": "cord", "length": "5 m", "wire": "20 AWG", "wire_quality": 1.6, "resistance": "0.2 ohm"}
    loaded = small_plan(
        {
            "fan": ONE_FAN,
            "lead": [lead],
            "wiring": {"runs": [["roof", "cord", "east"]], "contact_resistance": "0.01 ohm"},
        }
    )
    (circuit,) = reduced(loaded)
    assert (circuit.panels, circuit.fans) == (tuple(loaded.record.panel), tuple(loaded.record.fan))
    assert replace(circuit, panels=(), fans=()) == Circuit(
        Leaf("roof"),
        Through(Leaf("east"), pytest.approx(2 * 5 * AWG_20 * 1.6 + 0.2 + 2 * 0.02, rel=1e-9), None, ("cord",)),
    )


def test_a_splitter_counts_one_leg_for_its_trunk_and_one_for_each_branch(small_plan):
    split = {"id": "split", "length": "0.5 m", "wire": "18 AWG"}
    loaded = small_plan(
        {"splitter": [split], "wiring": {"runs": [["roof", "split", "east"], ["roof", "split", "west"]]}}
    )
    (circuit,) = reduced(loaded)
    leg = 2 * 0.5 * AWG_18
    assert circuit.load.resistance == pytest.approx(leg + JOINT, rel=1e-9)
    assert [branch.resistance for branch in circuit.load.child.members] == pytest.approx([leg + JOINT] * 2, rel=1e-9)


def test_a_splitter_with_one_end_in_use_is_a_lead_of_two_legs(small_plan):
    split = {"id": "split", "length": "0.5 m", "wire": "18 AWG"}
    loaded = small_plan({"fan": ONE_FAN, "splitter": [split], "wiring": {"runs": [["roof", "split", "east"]]}})
    (circuit,) = reduced(loaded)
    assert circuit.load.resistance == pytest.approx(2 * 2 * 0.5 * AWG_18 + 2 * JOINT, rel=1e-9)


def test_a_panel_to_each_fan_makes_a_circuit_each(small_plan):
    found = reduced(small_plan({"panel": PANELS, "wiring.layout": "one-each"}))
    assert [(list(leaves(one.source)), list(leaves(one.load))) for one in found] == [
        (["roof"], ["east"]), (["wall"], ["west"]),
    ]  # fmt: skip


@pytest.mark.parametrize("arrangement", ["parallel", "series"])
def test_panels_are_joined_before_the_cut(small_plan, arrangement):
    (circuit,) = reduced(small_plan({"panel": PANELS, "wiring.panels": arrangement}))
    # The cut lies behind the panels' joint.
    assert circuit.source.child == Joined(
        arrangement, (Through(Leaf("roof"), JOINT, None, ()), Through(Leaf("wall"), JOINT, None, ()))
    )
    assert list(leaves(circuit.load)) == ["east", "west"]
    assert has_series(circuit) == (arrangement == "series")


def test_a_diode_stays_a_link_of_its_own(small_plan):
    (circuit,) = reduced(small_plan({"panel": PANELS, "wiring.blocking_diode": "schottky-3a"}))
    member = circuit.source.child.members[0]
    assert (member.resistance, member.diode) == (pytest.approx(JOINT), None)
    assert (member.child.resistance, member.child.diode) == (0.0, DiodeLaw(2.35e-6, 0.027))
    assert member.child.parts == ("diode-roof",)


def test_a_diode_that_is_turned_round_lets_some_microamperes_through(small_plan):
    lead = {"id": "cord", "length": "5 m", "diode": "schottky-3a", "diode_reversed": True}
    loaded = small_plan({"fan": ONE_FAN, "lead": [lead], "wiring": {"runs": [["roof", "cord", "east"]]}})
    (circuit,) = reduced(loaded)
    # Typical of a Schottky diode: some tens of microamperes at 20 V.
    assert 10e-6 < 20.0 / circuit.load.resistance < 100e-6
    assert circuit.load.diode is None


def test_fans_in_a_chain_are_a_series_join(small_plan):
    (circuit,) = reduced(small_plan({"wiring.layout": "series"}))
    assert circuit.load.child.arrangement == "series"
    assert has_series(circuit)
    assert not has_series(circuit.source)


SPLITS = [{"id": "a"}, {"id": "b"}]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_fan_that_only_one_of_two_joined_panels_feeds_is_refused(small_plan, order):
    # The order of the panels must not matter: seen from the wall's panel alone the wiring looks whole.
    runs = [["roof", "a", "east"], ["roof", "a", "b", "west"], ["wall", "b", "west"]]
    loaded = small_plan({"panel": [PANELS[k] for k in order], "splitter": SPLITS, "wiring": {"runs": runs}})
    with pytest.raises(PlanError, match="join the panels first, then divide to the fans"):
        reduced(loaded)


def test_a_battery_cannot_be_charged_through_the_usb_regulator_of_a_panel(small_plan):
    loaded = small_plan({"battery": {"capacity": "84 Wh"}, "wiring.converter": "panel-usb-board"})
    words = r'"converter" lies between the panels and the charge controller.*; charge from the panels themselves'
    with pytest.raises(PlanError, match=words):
        reduced(loaded)
    reduced(loaded.with_({"wiring.converter": "buck-5v"}))


def test_panels_that_meet_only_at_the_fans_are_refused(small_plan):
    runs = [[panel, f"{panel}-split", f"{fan}-joint", fan] for panel in ("roof", "wall") for fan in ("east", "west")]
    splits = [{"id": name} for name in ("roof-split", "wall-split", "east-joint", "west-joint")]
    with pytest.raises(PlanError, match="the panels roof, wall feed the same fans by separate ways"):
        reduced(small_plan({"panel": PANELS, "splitter": splits, "wiring": {"runs": runs}}))


@settings(deadline=None, max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lengths=st.lists(st.floats(0.0, 30.0), min_size=1, max_size=5), quality=st.floats(1.0, 2.0))
def test_leads_in_a_row_add_up_whatever_their_order(small_plan, lengths, quality):
    leads = [{"id": f"l{k}", "length": f"{size:.6f} m", "wire_quality": quality} for k, size in enumerate(lengths)]

    def total(order):
        run = ["roof", *(lead["id"] for lead in order), "east"]
        (circuit,) = reduced(small_plan({"fan": ONE_FAN, "lead": leads, "wiring": {"runs": [run]}}))
        assert circuit.load.child == Leaf("east")
        return circuit.load.resistance

    # Lengths are written to a micrometre.
    by_hand = 2 * AWG_18 * quality * sum(lengths) + JOINT * (len(leads) + 1)
    assert total(leads) == pytest.approx(by_hand, rel=1e-6, abs=1e-6)
    assert total(leads[::-1]) == pytest.approx(total(leads), rel=1e-12)


# --- What a converter and a fan may hang on --------------------------------------------------------------------------


@pytest.mark.parametrize(("temp", "divisor"), [(5, 1.064), (30, 0.962), (40, 0.926), (50, 0.893), (70, 0.833)])
def test_temperature_factors_of_the_cable_tables(temp, divisor):
    # WIRE-13: IEC 60228 correction 1 / (1 + 0.004 dT) as a cable maker prints it; the standard rounds 0.00393 up.
    assert 1 / temperature_factor(temp) == pytest.approx(divisor, rel=4e-3)


def test_the_coefficient_at_75_degrees_is_that_at_20_referred():
    # WIRE-14: 0.00393 at 20 degC and 0.00323 at 75 degC are one line (IEC 60028; NEC note; from memory).
    assert temperature_factor(75.0) * (1 + 0.00323 * (20.0 - 75.0)) == pytest.approx(1.0, rel=1e-3)


def test_length_each_way_counts_twice():
    # WIRE-09: a published cable chart gives 0.265 V for 4.17 A, "5 m", 0.0127 ohm/m. That is the drop of a 5 m loop;
    # 5 m each way lose twice as much.
    assert 4.17 * loop_resistance(2.5, 0.0127) == pytest.approx(0.265, abs=5e-4)
    assert 4.17 * loop_resistance(5.0, 0.0127) == pytest.approx(0.53, abs=5e-3)


@pytest.mark.parametrize(
    ("per_metre", "drops"),
    [
        (0.084, "0.17 0.42 0.84 1.68 2.5"),
        (0.053, "0.11 0.27 0.53 1.1 1.6"),
        (0.0333, "0.07 0.17 0.33 0.67 1.0"),
        (0.0209, "0.04 0.10 0.21 0.42 0.63"),
    ],
)
def test_drops_over_five_metres(per_metre, drops):
    # Common practice, no source: 24, 22, 20 and 18 AWG, 5 m one way; each to its own last printed digit. The
    # row of 20 AWG was made with 33.3 mohm/m, its value in the wire tables, not with the rounded 33.
    for current, printed in zip((0.2, 0.5, 1.0, 2.0, 3.0), drops.split(), strict=True):
        half_digit = 0.5001 * 10.0 ** -len(printed.partition(".")[2])
        assert current * loop_resistance(5.0, per_metre) == pytest.approx(float(printed), abs=half_digit)


def test_conductor_current_basis_is_two_margins_of_a_quarter():
    # NEC 690.8 (from memory): 125 % twice, printed as 156 %.
    assert conductor_current_basis(1.17) == pytest.approx(1.25 * 1.25 * 1.17, rel=2e-3)


@settings(deadline=None, max_examples=60)
@given(length=st.floats(0.0, 100.0), more=st.floats(0.0, 100.0), quality=st.floats(1.0, 2.0), warmer=st.floats(0, 60))
def test_more_and_warmer_wire_never_loses_less(length, more, quality, warmer):
    usual = loop_resistance(length, 0.0209, quality)
    assert loop_resistance(length + more, 0.0209, quality, 20.0 + warmer) >= usual


def test_the_wires_of_a_plan_are_as_warm_as_it_says(small_plan):
    # IEC 60228 carried from 20 to 60 degC: 15.7 % more. The joints keep their resistance.
    cold, usual, hot = (
        circuits(build_harness(plan), plan)[0].load.resistance
        for plan in (small_plan({"wiring.wire_temperature": f"{temp} degC"}) for temp in (20, 45, 60))
    )
    default = small_plan()
    assert circuits(build_harness(default), default)[0].load.resistance == usual
    copper = (hot - cold) / (0.00393 * 40)
    assert usual - cold == pytest.approx(0.00393 * 25 * copper, rel=1e-9)
    assert 0 < copper < cold
