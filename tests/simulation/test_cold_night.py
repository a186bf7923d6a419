"""Cold nights of a plan."""

import tomllib
from datetime import date

import numpy as np
import pytest
from hobby import hobby_plan, hobby_run, hobby_weather

from solarvent.air.network import leakage_area
from solarvent.air.opening import leakage_flow
from solarvent.base.errors import PlanError
from solarvent.findings.house import night_findings
from solarvent.plan.checking import check_plan
from solarvent.plan.library import Library
from solarvent.plan.plan import Plan, embedded_plan_path, load_plan
from solarvent.simulation.cold_night import cold_night, faded_after


def with_things(**sections) -> Plan:
    """The worked example with more in its house."""
    content = tomllib.loads(embedded_plan_path().read_text(encoding="utf-8"))
    return Plan(check_plan(content | sections, Library()), Library())


@pytest.fixture(scope="module")
def plain():
    return cold_night(load_plan())


@pytest.fixture(scope="module")
def drums():
    return cold_night(with_things(mass=[{"id": "drums", "part": "drum-208l", "count": 4}]))


def test_it_is_the_night_in_which_the_house_is_coldest(plain):
    at = plain.run.hours.index[plain.run.hours["temp_inside"].argmin()]
    assert at in plain.times
    assert plain.minimum_inside == pytest.approx(plain.run.hours["temp_inside"].min(), abs=0.1)
    assert len(plain.times) == 24
    assert plain.times[0].hour == 12
    assert plain.minimum_inside == plain.temp_inside.min()


def test_a_chosen_evening_and_several_nights():
    night = cold_night(load_plan(), date(2000, 3, 3), nights=2)
    assert len(night.times) == 48
    assert (night.times[0].month, night.times[0].day, night.times[0].hour) == (3, 3, 12)


def test_the_window_repeats_the_year(plain):
    # Carried through again from ten days before, the house is where the year had it, but for fans under broken cloud:
    # here they turn in all of such an hour or in none.
    at = plain.run.hours.index.get_indexer(plain.times)
    np.testing.assert_allclose(plain.temp_inside, plain.run.hours["temp_inside"].to_numpy()[at], atol=0.5)


def test_shut_at_night_is_warmer_and_water_helps(plain, drums):
    assert drums.minimum_inside > plain.minimum_inside + 1
    assert drums.minimum_shut >= drums.minimum_inside
    # Without its drums it is the plain house but for the light they caught.
    assert drums.minimum_bare == pytest.approx(plain.minimum_shut, abs=1.5)
    assert drums.heater_watts < plain.heater_watts


def test_the_cracks_of_such_houses_spread_the_coldest_hour(plain, drums):
    for night in (plain, drums):
        low, high = night.minimum_span
        assert low <= night.minimum_inside <= high
        assert 0.02 < high - low < 4.0
    # The warmer the house is kept, the more its cracks matter.
    assert np.diff(drums.minimum_span) > np.diff(plain.minimum_span)


def test_the_heater_makes_up_what_is_lost(plain):
    # All shut: UA of the house and what its cracks let through, times the wish over outside, within the half that sky
    # and floor make.
    house, over = plain.run.house.model, plain.wanted - plain.temp_air.min()
    air = leakage_flow(leakage_area(plain.run.plan), over, 3.0) * 1.3 * 1006.0
    assert plain.heater_shut == pytest.approx((house.u_value.mean() * house.cover_area + air) * over, rel=0.5)
    assert plain.heater_watts > plain.heater_shut
    assert 0 < plain.heater_energy < 24 * plain.heater_watts


def test_a_frost_free_house_of_three_and_a_half_metres_takes_one_to_two_kilowatts():
    # HB-11: 3.6 x 2.4 m at -8 degC outside, frost-free: a 2 kW fan heater does it (a garden authority's advice page).
    # The answer should lie at 1.0-2.2 kW.

    loaded = hobby_plan(length="3.6 m", cover="single-glass")
    weather = hobby_weather(loaded, "winter-dull")
    cold = weather.copy()
    cold["temp_air"] = -8.0
    cold["ghi"] = cold["dni"] = cold["dhi"] = 0.0
    run = hobby_run(loaded, cold, ("closed",), heater=(10_000.0, 2.0))
    assert 1000 <= run.heater[-1, 0] <= 2200


@pytest.mark.long
def test_some_water_holds_a_kelvin_more():
    night = cold_night(load_plan(), date(2000, 4, 10))
    wanted = night.minimum_shut + 1.0
    again = cold_night(load_plan(), date(2000, 4, 10), wanted=wanted)
    assert again.litres > 0
    tanks = [{"id": "water", "part": "drum-208l", "volume": f"{again.litres:.1f} L", "count": 1}]
    share = again.litres / 208.2
    tanks[0] |= {"area": f"{1.87 * share:.4f} m2", "sun_area": f"{0.51 * share:.4f} m2"}
    held = cold_night(with_things(mass=tanks), date(2000, 4, 10), wanted=wanted)
    assert held.minimum_shut == pytest.approx(wanted, abs=0.5)


def test_stored_warmth_fades(drums, plain):
    assert len(drums.spell) == 10
    assert drums.spell[0] > drums.spell[3] >= drums.spell[-1] - 0.1
    assert len(plain.spell) == 0


def test_when_it_has_faded():
    assert faded_after([3.0, 1.5, 0.9, 0.5]) == 2
    assert faded_after([3.0, 2.0]) is None


def test_new_water_settles_within_weeks(drums, plain):
    assert 0 <= drums.filling_days < 20
    assert np.isnan(plain.filling_days)


def test_the_panel_could_never_feed_it(plain):
    assert plain.panel_energy < plain.heater_energy / 10


def test_dew_on_a_cold_clear_night(plain, drums):
    assert plain.dew_cover.any()
    assert not plain.dew_mass.any()
    # Drums that are colder than the damp morning air drip.
    assert drums.dew_mass.sum() < drums.dew_cover.sum()


def test_by_the_clock_of_the_sun_the_first_step_holds_noon():
    # At 79.95 W the sun is 19.8 min behind the zone's meridian, so no hour of the weather begins at its noon.
    night = cold_night(with_things(clock="solar"))
    assert (night.times[0].hour, night.times[0].minute) == (11, 40)
    assert len(night.times) == 24


def test_no_such_evening_and_too_short_a_year(tmp_path):
    with pytest.raises(PlanError, match="no 29 February"):
        cold_night(load_plan(), date(2000, 2, 29))
    rows = "".join(f"2001-01-{1 + hour // 24:02d}T{hour % 24:02d}:00Z,0,0,0,1\n" for hour in range(72))
    head = "# title: t\n# source: s\n# latitude: 36.1\n# longitude: -79.95\n# altitude: 273\n# stamp: start\n"
    (tmp_path / "short.csv").write_text(head + "time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC]\n" + rows)
    loaded = with_things(weather={"file": str(tmp_path / "short.csv")})
    with pytest.raises(PlanError, match="some weeks"):
        cold_night(loaded)


def codes(night):
    return {finding.code: finding for finding in night_findings(night)}


def test_the_findings_of_a_cold_night(drums, plain):
    found = codes(drums)
    assert found["night-cold"].value == drums.minimum_inside
    assert "water-freezes" in found
    warm = with_things(plants={"crop": "hens"})
    night = cold_night(warm, date(2000, 7, 1))
    assert not codes(night)
    assert "water-freezes" not in codes(plain)


def test_a_battery_in_frost(plain):
    for kind in ("lithium", "lead-acid"):
        assert "battery-frost" in codes(cold_night(with_things(battery={"kind": kind})))
    assert "battery-frost" not in codes(plain)


def test_what_stands_in_the_house_is_told_too():
    night = cold_night(with_things(heater={"power": "3 kW", "fuel": "propane"}))
    assert codes(night)["heater-fumes"].level == "stop"


def test_figures_are_finite_and_agree(drums):
    for name in ("temp_inside", "temp_mass", "temp_shut"):
        assert np.isfinite(getattr(drums, name)).all()
    assert drums.residual < 0.01
