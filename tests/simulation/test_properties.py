"""What physics says of any plan, tried on drawn ones: a clear day of a small house, without wind."""

from datetime import date

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from solarvent.bench.metering import expected_readings
from solarvent.electrical.panel_model import TYPICAL
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import totals

MIDSUMMER = date(2001, 6, 21)
LIBRARY_FANS = ["fan-12v-120x25", "fan-12v-120x38", "fan-24v-120x25", "fan-24v-120x38", "fan-12v-120x25-held"]
LIBRARY_PANELS = ["panel-5w", "panel-10w", "panel-20w", "panel-50w"]
few = settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])

fan_parts = st.sampled_from(LIBRARY_FANS)
panel_parts = st.sampled_from(LIBRARY_PANELS)
metres = st.floats(0.5, 40.0)


def alike(part, count):
    return [{"id": f"fan-{number}", "part": part} for number in range(count)]


def day(loaded):
    return simulate(loaded, MIDSUMMER, bands=(TYPICAL,))


def metres_of(length):
    return f"{length:.3f} m"


@few
@given(panel=panel_parts, fans=st.lists(fan_parts, min_size=1, max_size=3), length=metres, more=metres,
       irradiance=st.floats(50.0, 1100.0))  # fmt: skip
def test_more_wire_never_raises_the_voltage_at_a_fan(small_plan, panel, fans, length, more, irradiance):
    parts = [{"id": f"fan-{number}", "part": part} for number, part in enumerate(fans)]

    def volts(metres):
        loaded = small_plan({"panel.0.part": panel, "fan": parts, "wiring.lead.length": metres_of(metres)})
        (circuit,) = expected_readings(loaded, irradiance, 40.0, (TYPICAL,))["typical"]
        return np.array([[fan.voltage for fan in state.fans] for state in (circuit.standing, circuit.turning)])

    assert (volts(length + more) <= volts(length) * (1 + 1e-9)).all()


@few
@given(panel=panel_parts, fan=fan_parts, length=metres, more=metres)
def test_more_wire_never_lets_a_fan_start_earlier_or_turn_longer(small_plan, panel, fan, length, more):
    def run(metres):
        changes = {"panel.0.part": panel, "fan": alike(fan, 1), "wiring.lead.length": metres_of(metres)}
        return day(small_plan(changes)).bands["typical"]

    short, long = run(length), run(length + more)
    assert long.hours_running["fan-0"] <= short.hours_running["fan-0"]
    started = long.thresholds["fan-0"].start_irradiance
    assert np.isnan(started) or started >= short.thresholds["fan-0"].start_irradiance


@few
@given(fan=fan_parts, count=st.integers(1, 2), area=st.floats(0.0, 0.05), more=st.floats(0.001, 0.2))
def test_more_vent_area_never_lowers_the_air_changes(small_plan, fan, count, area, more):
    def changes(size):
        opening = [{"id": "door", "part": "plain-hole", "area": f"{size:.5f} m2"}]
        return day(small_plan({"fan": alike(fan, count), "opening": opening})).hours["air_changes"].to_numpy()

    assert (changes(area + more) >= changes(area) - 1e-9).all()


@few
@given(panel=panel_parts, fan=fan_parts, count=st.integers(1, 3))
def test_two_equal_panels_in_parallel_never_move_less_air_than_one(small_plan, panel, fan, count):
    def flow(panels):
        own = [{"id": f"panel-{number}", "part": panel} for number in range(panels)]
        return day(small_plan({"panel": own, "fan": alike(fan, count)})).hours["flow"].to_numpy()

    assert (flow(2) >= flow(1) - 1e-9).all()


@few
@given(panel=panel_parts, fan=fan_parts, lit=st.floats(0.0, 1.0), less=st.floats(0.0, 1.0))
def test_a_longer_shadow_never_gives_more_hours_or_light(small_plan, panel, fan, lit, less):
    def run(share):
        panels = {"panel.0.part": panel, "panel.0.lit_share_of_worst_cell": share}
        return day(small_plan(panels | {"fan": alike(fan, 1)}))

    bright, dark = run(lit), run(lit * less)
    assert dark.bands["typical"].hours_running["fan-0"] <= bright.bands["typical"].hours_running["fan-0"]
    assert totals(dark)["energy_made"] <= totals(bright)["energy_made"] * (1 + 1e-9)


@few
@given(panel=panel_parts, fans=st.lists(fan_parts, min_size=1, max_size=3), length=metres,
       arrangement=st.sampled_from(["shared", "series"]), azimuth=st.integers(0, 360))  # fmt: skip
def test_no_more_energy_is_used_than_made_and_what_is_lost_is_heat(
    small_plan, panel, fans, length, arrangement, azimuth
):
    changes = {"panel.0.part": panel, "panel.0.azimuth": azimuth, "wiring.lead.length": metres_of(length)}
    changes["fan"] = [{"id": f"fan-{number}", "part": part} for number, part in enumerate(fans)]
    changes["wiring.layout"] = arrangement
    run = day(small_plan(changes))
    electrical = run.electrical
    made = (electrical.panel_voltage * electrical.panel_current).sum(axis=0)
    used = (electrical.fan_voltage * electrical.fan_current).sum(axis=0)
    assert totals(run)["energy_used"] <= totals(run)["energy_made"]
    assert (made <= electrical.power_available.sum(axis=0) * (1 + 1e-6) + 1e-6).all()
    np.testing.assert_allclose(made, used + electrical.loss, rtol=1e-3, atol=1e-3)
    assert (electrical.loss >= 0).all()


@few
@given(panel=panel_parts, fan=fan_parts)
def test_the_light_that_starts_a_lone_fan_keeps_it_turning(small_plan, panel, fan):
    limits = day(small_plan({"panel.0.part": panel, "fan": alike(fan, 1)})).bands["typical"].thresholds["fan-0"]
    assert np.isnan(limits.start_irradiance) or limits.run_down_irradiance <= limits.start_irradiance


@few
@given(order=st.permutations(LIBRARY_FANS[:3]), panel=panel_parts)
def test_the_order_in_which_fans_are_named_does_not_matter(small_plan, order, panel):
    def hours(parts):
        run = day(small_plan({"panel.0.part": panel, "fan": [{"id": part, "part": part} for part in parts]}))
        return {part: run.hours[f"voltage.{part}"].to_numpy() for part in parts}

    named, shuffled = hours(LIBRARY_FANS[:3]), hours(order)
    for part in order:
        np.testing.assert_allclose(shuffled[part], named[part], rtol=1e-9, atol=1e-9)
