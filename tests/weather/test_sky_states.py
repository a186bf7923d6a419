"""Broken cloud taken apart: which steps, what they keep, and what it does to loads of three kinds and to real fans."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.electrical.panel_model import TYPICAL
from solarvent.plan.house_records import SHADOW_LEVEL, SUNLIT_LEVEL
from solarvent.simulation.simulate import simulate, simulate_under
from solarvent.weather import sky, sky_states, sun
from solarvent.weather import sky_states as module
from solarvent.weather.conditions import conditions, light_on_panels
from solarvent.weather.planes import plane_of_array
from solarvent.weather.sky import cloud_factor
from solarvent.weather.sky_states import (
    beam_in_thirds,
    find_sky_states,
    open_sky_share,
    shadow_level,
    sunlit_share,
    two_spells,
)

TYPICAL_YEAR = {
    "place": {"latitude": 36.1, "longitude": -79.95, "altitude": "273 m", "timezone": "America/New_York"},
    "weather": {"embedded": "latitude 36.1, longitude -79.95"},
}
ONE_FAN = {"fan": [{"id": "east", "part": "fan-24v-120x25"}]}
STIFF = {"fan.0.start_voltage": "17 V", "fan.0.stop_voltage": "15 V"}


def hours_under(loaded, factors, oktas=np.nan, beam=0.6, start="2023-06-21 09:30"):
    """Hours whose light is a share of the clear sky's, with a share of it as beam."""
    place = loaded.record.place
    index = pd.date_range(start, periods=len(factors), freq="h", tz="UTC")
    clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
    position = sun.solar_position(index, place.latitude, place.longitude, place.altitude)
    ghi = np.array(factors) * clear.ghi
    dni = beam * ghi / np.cos(np.radians(position.apparent_zenith))
    table = pd.DataFrame(
        {
            "ghi": ghi,
            "dni": dni,
            "dhi": (1 - beam) * ghi,
            "temp_air": 20.0,
            "wind_speed": 0.0,
            "wind_direction": 0.0,
            "opaque_cover": oktas,
        },
        index=index,
    )
    table.attrs["step"] = 3600.0
    return table, position


# --- which steps are broken, and their share ------------------------------------------------------------


def with_beam(loaded, shares, **more):
    """Hours whose beam is a share of a clear sky's, beside a steady 200 W/m2 from the sky."""
    place = loaded.record.place
    table, position = hours_under(loaded, [1.0] * len(shares), **more)
    clear = sky.clear_sky(table.index, place.latitude, place.longitude, place.altitude)
    table["dni"], table["dhi"] = np.array(shares) * clear.dni, 200.0
    table["ghi"] = table["dni"] * np.cos(np.radians(position.apparent_zenith)) + 200.0
    return table, position


def test_the_beam_gives_the_thirds_of_each_hour(small_plan):
    shares = [0.0, 0.01, 0.2, 0.5, 0.9, 1.0, 1.1]
    loaded = small_plan()
    table, position = with_beam(loaded, shares)
    states = find_sky_states(loaded, table, position, 3600.0)
    assert np.bincount(states.step_of).tolist() == [1, 1, 3, 3, 3, 1, 1]
    assert np.bincount(states.step_of_substep).tolist() == [1, 1, 4, 4, 4, 1, 1]
    # 1 - 0.8**3, 0.2**2 (3 - 0.4) and 0.2**3 over 0.2, by hand.
    assert states.beam[2:5].tolist() == pytest.approx([0.488 / 0.2, 0.104 / 0.2, 0.008 / 0.2])
    assert states.sky.tolist() == [1.0] * len(states.sky)
    for of_states in (states.beam, states.ground):
        assert states.of_states(of_states) == pytest.approx(1.0)
    # Light rises from the middle third to the brightest and falls to the dullest; each takes a third of the time.
    assert (states.order[2:6] - 2).tolist() == [1, 0, 1, 2]
    assert states.moment_weight[2:6].tolist() == pytest.approx([1 / 6, 1 / 3, 1 / 6, 1 / 3])
    assert states.mean(np.ones(len(states.order))) == pytest.approx(1.0)


LEVELS = {"sky": {"sunlit_level": 1.05, "shadow_level": 0.30}}


def test_with_levels_the_clear_sky_index_gives_the_sunlit_share_of_each_hour(small_plan):
    loaded, factors = small_plan(LEVELS), [0.2, 0.3, 0.45, 0.675, 0.9, 1.05, 1.2]
    table, position = hours_under(loaded, factors)
    states = find_sky_states(loaded, table, position, 3600.0)
    first = states.weight[np.searchsorted(states.step_of, np.arange(len(factors)))]
    # (k - 0.30) / 0.75, worked by hand; whole where there is one state.
    assert first.tolist() == pytest.approx([1.0, 1.0, 0.2, 0.5, 0.8, 1.0, 1.0])
    assert np.bincount(states.step_of).tolist() == [1, 1, 2, 2, 2, 1, 1]
    assert np.bincount(states.step_of_substep).tolist() == [1, 1, 4, 4, 4, 1, 1]
    assert states.of_states(np.ones(len(states.weight))) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("oktas", "beam", "resolution", "whole"),
    [
        (4.0, 0.5, 3600.0, False),
        (np.nan, 0.5, 3600.0, False),
        (0.0, 0.5, 3600.0, True),
        (8.0, 0.5, 3600.0, True),
        (9.0, 0.5, 3600.0, True),
        (np.nan, 0.0, 3600.0, True),
        (4.0, 0.0, 3600.0, True),
        (4.0, 0.5, 600.0, True),
    ],
)
def test_a_step_stays_whole_where_one_state_is_all(small_plan, oktas, beam, resolution, whole):
    loaded = small_plan()
    table, position = hours_under(loaded, [0.6, 0.6], oktas, beam)
    assert find_sky_states(loaded, table, position, resolution).whole == whole
    # With levels of its own a plan tells an even layer from breaks that the sun happened to miss by the cloud.
    if beam == 0.0:
        states = find_sky_states(small_plan(LEVELS), table, position, resolution)
        assert states.whole == np.isnan(oktas)


def test_the_levels_of_the_plan_are_taken(small_plan):
    table, position = hours_under(small_plan(), [0.6])
    spells = find_sky_states(small_plan({"sky": {"sunlit_level": 1.0, "shadow_level": 0.2}}), table, position, 3600.0)
    assert spells.weight.tolist() == pytest.approx([0.5, 0.5])
    assert spells.ground.tolist() == pytest.approx([1.0 / 0.6, 0.2 / 0.6])
    given = find_sky_states(small_plan(), table, position, 3600.0, share=0.25)
    assert given.weight.tolist() == pytest.approx([0.25, 0.75])
    assert given.ground.tolist() == pytest.approx([1.10 / 0.6, sky_states.shadow_level(0.6, 0.25, 1.10) / 0.6])


# --- what the spells keep ------------------------------------------------------------------------------


@pytest.mark.parametrize("facing", [{"panel.0.tilt": 0}, {"panel.0.tilt": 60, "panel.0.azimuth": 250}])
def test_the_light_of_every_hour_is_kept_on_every_plane(small_plan, facing):
    loaded = small_plan(TYPICAL_YEAR | facing)
    year = conditions(loaded)
    assert not year.sky_states.whole
    light = {name: year.weather[name] for name in ("ghi", "dni", "dhi")}
    plane = plane_of_array(year.position, loaded.record.panel[0].tilt, loaded.record.panel[0].azimuth, **light)
    np.testing.assert_allclose(year.panels["roof"].poa_global, plane.poa_global, rtol=1e-9, atol=1e-9)
    passed = plane.effective_global * loaded.record.panel[0].soiling_ratio
    np.testing.assert_allclose(year.panels["roof"].effective_irradiance, passed, rtol=1e-9, atol=1e-9)


def test_no_spell_is_dark_or_brighter_than_its_gap(small_plan):
    year = conditions(small_plan(TYPICAL_YEAR))
    light = year.panel_states["roof"].poa_global
    assert (light >= 0).all()
    assert light.max() < 1300
    broken = np.bincount(year.sky_states.step_of)[year.sky_states.step_of] == 3
    bright, middle, dull = (light[broken][first::3] for first in range(3))
    assert (bright >= middle).all()
    assert (middle >= dull).all()


# --- loads of three kinds ------------------------------------------------------------------------------


def flows(sun_on_panel, load):
    """Mean flow with spells, and that of the mean light."""
    spells, light = sun_on_panel.sky_states, sun_on_panel.panel_states["roof"].effective_irradiance
    return spells.of_states(load(light)), load(sun_on_panel.panels["roof"].effective_irradiance)


def test_a_load_linear_in_the_sun_moves_what_the_mean_moves(small_plan):
    split, mean = flows(conditions(small_plan(TYPICAL_YEAR)), lambda light: 0.3 * light)
    assert split.sum() == pytest.approx(mean.sum(), rel=1e-3)
    np.testing.assert_allclose(split, mean, rtol=1e-3, atol=1e-6)


@pytest.mark.parametrize(
    "load", [np.sqrt, lambda light: np.minimum(light, 300.0), lambda light: light / (light + 200.0)]
)
def test_a_concave_load_never_moves_more(small_plan, load):
    split, mean = flows(conditions(small_plan(TYPICAL_YEAR)), load)
    assert (split <= mean * (1 + 1e-9) + 1e-9).all()
    # By the minute a root loses 1.1 to 1.9 % of the days at seven stations, the sun's own way within an hour included;
    # here, without that, 0.7 % of a year.
    assert split.sum() < 0.995 * mean.sum()


def running(loaded, factors, share=None, resolution=3600.0, oktas=np.nan):
    table, _ = hours_under(loaded, factors, oktas)
    run = simulate_under(loaded, light_on_panels(loaded, table, 3600.0, resolution, share), (TYPICAL,))
    return run.electrical.running[0], run.ventilation.flow, run


def test_a_threshold_differs_from_the_mean_both_ways_round(small_plan):
    # As one state, a mean above the start keeps the fan on and one below keeps it off; gaps and shadows do neither.
    loaded = small_plan(
        ONE_FAN | STIFF | {"panel.0.part": "panel-10w", "sky": {"sunlit_level": 1.05, "shadow_level": 0.10}}
    )
    start = running(loaded, [1.0])[2].bands["typical"].thresholds["east"]
    factors = (0.30, 0.75)
    light = [running(loaded, [factor])[2].conditions.panels["roof"].effective_irradiance[0] for factor in factors]
    assert light[0] < start.start_irradiance < light[1]
    for factor, always in zip(factors, (0.0, 1.0), strict=True):
        turning, flow, _ = running(loaded, [factor])
        steady, mean_flow, _ = running(loaded, [factor], resolution=60.0)
        assert steady[0] == always
        share = (factor - 0.10) / 0.95
        assert turning[0] == pytest.approx(share)
        assert (flow[0] > mean_flow[0]) == (always == 0.0)
        assert flow[0] != mean_flow[0]


# --- states carried through ----------------------------------------------------------------------------


def test_a_shadow_stops_a_fan_and_the_next_gap_must_start_it_again(small_plan):
    # A clear hour starts the fan; then gaps keep it turning that are too weak to start the stiffer one.
    sky_of_plan = {"panel.0.part": "panel-5w", "sky": {"sunlit_level": 0.9, "shadow_level": 0.05}}
    easy = small_plan(ONE_FAN | sky_of_plan | {"fan.0.start_voltage": "15 V", "fan.0.stop_voltage": "12 V"})
    stiff = small_plan(ONE_FAN | sky_of_plan | STIFF)
    for plan, again in ((easy, True), (stiff, False)):
        table, _ = hours_under(plan, [1.0, 0.5, 0.5, 0.5], start="2023-06-21 10:30")
        table.loc[table.index[0], "opaque_cover"] = 0.0
        # The first hour is brighter than the gaps of the next ones, whose share is (0.5 - 0.05) / 0.85.
        table.loc[table.index[0], ["ghi", "dni", "dhi"]] *= 1.3
        run = simulate_under(plan, light_on_panels(plan, table, 3600.0, 3600.0), (TYPICAL,))
        limits = run.bands["typical"].thresholds["east"]
        brightest = run.conditions.sky_states.brightest(run.conditions.panel_states["roof"].effective_irradiance)
        assert (brightest[1:] > limits.run_down_irradiance).all()
        assert (brightest[1:] > limits.start_irradiance).all() == again
        share = 0.45 / 0.85
        turning = run.electrical.running[0]
        assert turning[0] == 1.0
        # Carried into the first gap only: half of the gaps of that hour.
        assert turning[1] == pytest.approx(share if again else share / 2)
        assert turning[2:].tolist() == pytest.approx([share if again else 0.0] * 2)


def test_more_alternations_change_little(small_plan, monkeypatch):
    loaded = small_plan(TYPICAL_YEAR | {"panel.0.part": "panel-10w"})

    def week():
        days = [simulate(loaded, date(2023, 7, day), bands=(TYPICAL,)) for day in (3, 4, 5, 6)]
        return sum(run.ventilation.flow.sum() for run in days), [run.electrical.running[0] for run in days]

    flow, turning = week()
    monkeypatch.setattr(module, "THIRDS", module.THIRDS * 3)
    more_flow, more_turning = week()
    assert flow == pytest.approx(more_flow, rel=0.01)
    # Dusk and dawn end in the same state: only how the first gap of an hour counts may differ.
    for few, many in zip(turning, more_turning, strict=True):
        assert ((few > 0) == (many > 0)).all()


def test_means_over_broken_hours_add_up(small_plan):
    loaded = small_plan(TYPICAL_YEAR | {"panel.0.part": "panel-10w"})
    table, _ = hours_under(loaded, [0.4, 0.6, 0.8], start="2023-06-21 14:30")
    run = simulate_under(loaded, light_on_panels(loaded, table, 3600.0, 3600.0), (TYPICAL,))
    electrical = run.electrical
    assert ((electrical.running > 0) & (electrical.running < 1)).any()
    assert ((electrical.running >= 0) & (electrical.running <= 1)).all()
    assert (electrical.any_running >= electrical.running.max(axis=0) - 1e-12).all()
    # Power of the panel goes to turning and standing fans and to heat; the turning ones are a part of it.
    made = electrical.panel_power.sum(axis=0)
    assert (electrical.fan_power.sum(axis=0) + electrical.loss <= made * (1 + 1e-3) + 1e-3).all()
    assert (made <= electrical.power_available.sum(axis=0) * (1 + 1e-6) + 1e-6).all()
    turning = electrical.running[0] > 0
    # The voltage is that of turning: no fan turns below its stop voltage.
    assert (electrical.fan_voltage[0][turning] > loaded.record.fan[0].stop_voltage * 0.99).all()


plain = settings(deadline=None, max_examples=80)


@plain
@given(st.floats(0, 1))
def test_the_thirds_keep_the_beam_and_are_in_order(share):
    bright, middle, dull = beam_in_thirds(share)
    assert (bright + middle + dull) / 3 == pytest.approx(share, abs=1e-12)
    assert 1 >= bright >= middle - 1e-12
    assert middle >= dull >= 0


def test_the_thirds_are_those_of_three_drawn_moments():
    # Counted out, not by the formula: the beam at three moments of a sun that shines 30 % of the time, sorted.
    drawn = np.sort(np.random.default_rng(1).random((200_000, 3)) < 0.3, axis=1)[:, ::-1]
    np.testing.assert_allclose(beam_in_thirds(0.3), drawn.mean(axis=0), atol=0.003)
    assert beam_in_thirds([0.0, 1.0]).T.tolist() == [[0.0] * 3, [1.0] * 3]
    assert np.isnan(beam_in_thirds([-0.1, 1.1])).all()


def test_sunlit_shares_by_oktas():
    # Levels of 1.10 and 0.45 over F. Kasten, G. Czeplak 1980; worked by hand.
    shares = sunlit_share(cloud_factor([4, 5, 6, 7, 8]), 1.10, 0.45)
    assert shares.tolist() == pytest.approx([0.737, 0.613, 0.412, 0.113, 0.0], abs=1e-3)


def test_the_other_reading_of_a_broken_sky():
    oktas = np.arange(2, 8)
    # The same mean with gaps by the open sky: shadows are darker than the gaps.
    levels = shadow_level(cloud_factor(oktas), open_sky_share(oktas), SUNLIT_LEVEL)
    assert ((levels > 0.4) & (levels < SUNLIT_LEVEL)).all()
    assert open_sky_share([0, 2, 8]).tolist() == [1.0, 0.75, 0.0]
    assert np.isnan(open_sky_share([-1, 8.5])).all()


@pytest.mark.parametrize("oktas", range(10))
def test_the_mean_of_the_two_states_is_the_single_mean_at_every_okta(oktas):
    factor = float(cloud_factor(oktas))
    share = float(sunlit_share(factor, SUNLIT_LEVEL, SHADOW_LEVEL))
    if not 0 < share < 1:
        # One state, which is the mean itself.
        assert oktas in (8, 9)
        return
    clear, up = 840.0, 0.9
    dni = 0.55 * factor * clear / up
    dhi = factor * clear - dni * up
    step = {"ghi": [factor * clear], "dni": [dni], "dhi": [dhi]}
    sunlit, shadow = two_spells(**step, ghi_sunlit=[SUNLIT_LEVEL * clear], share=[share], cos_zenith=[up])
    for name, (mean,) in step.items():
        both = share * getattr(sunlit, name) + (1 - share) * getattr(shadow, name)
        assert both[0] == pytest.approx(mean, rel=1e-12)
    assert shadow.ghi[0] == pytest.approx(SHADOW_LEVEL * clear)


@plain
@given(
    st.floats(0.46, 1.09),
    st.floats(0, 1),
    st.floats(0.05, 1),
    st.floats(50, 1000),
)
def test_spells_keep_the_step_and_are_light_that_can_be(factor, beam_share, up, clear):
    ghi = factor * clear
    dni, dhi = beam_share * ghi / up, (1 - beam_share) * ghi
    share = float(sunlit_share(factor, SUNLIT_LEVEL, SHADOW_LEVEL))
    sunlit, shadow = two_spells([ghi], [dni], [dhi], [SUNLIT_LEVEL * clear], [share], [up])
    for spell in (sunlit, shadow):
        assert spell.ghi[0] == pytest.approx(spell.dni[0] * up + spell.dhi[0], rel=1e-9, abs=1e-7)
        assert min(part[0] for part in spell) >= -1e-7
    for name, mean in (("ghi", ghi), ("dni", dni), ("dhi", dhi)):
        both = share * getattr(sunlit, name)[0] + (1 - share) * getattr(shadow, name)[0]
        assert both == pytest.approx(mean, rel=1e-9, abs=1e-7)
    # The beam belongs to the gaps, as far as there is room for it.
    assert shadow.dni[0] == pytest.approx(0, abs=1e-7) or sunlit.dhi[0] == pytest.approx(0, abs=1e-7)


def test_gaps_that_take_all_the_light_leave_a_black_shadow():
    # 800 W/m2 for half the time are the whole mean of 400; the beam of 300 shines twice as strong for half the time.
    sunlit, shadow = two_spells([400.0], [300.0], [160.0], [800.0], [0.5], [0.8])
    assert [part[0] for part in sunlit] == pytest.approx([800.0, 600.0, 320.0])
    assert [part[0] for part in shadow] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


@plain
@given(st.floats(0.31, 1.04), st.floats(0.02, 0.98))
def test_a_given_share_leaves_the_shadows_what_the_mean_wants(factor, share):
    level = float(shadow_level(factor, share, SUNLIT_LEVEL))
    if np.isnan(level):
        assert share * SUNLIT_LEVEL > factor
    else:
        assert share * SUNLIT_LEVEL + (1 - share) * level == pytest.approx(factor)


def test_without_gaps_the_shadow_is_the_mean():
    assert shadow_level(0.4, 0.0, 1.1) == 0.4


def test_shares_without_meaning_give_nothing():
    assert np.isnan(two_spells([500.0], [300.0], [200.0], [800.0], [1.0], [0.8])[0].dni).all()
    assert np.isnan(two_spells([500.0], [300.0], [200.0], [800.0], [0.5], [-0.1])[1].dni).all()
    assert np.isnan(sunlit_share(np.nan, 1.1, 0.45))
    assert np.isnan(shadow_level(0.5, [0.0 - 1, 1.0], 1.1)).all()
