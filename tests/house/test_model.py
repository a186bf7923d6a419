"""The figures of a plan's house: light, cover, masses, ground."""

import numpy as np
import pandas as pd
import pytest
from heat import heat_imbalance
from hobby import hobby_plan, hobby_run, hobby_weather

from solarvent.air.network import FanState
from solarvent.house.envelope import FLOOR_NODES
from solarvent.house.house_run import CASES, house_run, mass_temperatures
from solarvent.house.model import add_mass, crop_of, drop_masses, drums, house_model
from solarvent.house.sunlight import _standing as house_standing
from solarvent.house.sunlight import (
    caught_by,
    house_light,
    house_surfaces,
    leaf_area,
    light_ends,
    light_on_pieces,
    planting,
    watered,
)
from solarvent.plan.house_records import Screen, Shade
from solarvent.plan.plan import Plan
from solarvent.weather import moist_air, sun


def model_of(loaded, weather=None):
    weather = hobby_weather(loaded, "spring") if weather is None else weather
    position = sun.solar_position(weather.index, loaded.record.place.latitude, loaded.record.place.longitude)
    return house_model(loaded, weather, position, weather.index.month.to_numpy(), 3600.0)


@pytest.fixture(scope="module")
def model():
    return model_of(hobby_plan())


def test_light_goes_somewhere_and_only_once(model):
    np.testing.assert_allclose(model.sun_air + model.sun_mass.sum(axis=1), model.light, rtol=1e-12, atol=1e-9)
    assert (model.light >= 0).all()
    ends = light_ends(hobby_plan(), model.sun)
    # Never more than falls on the house: its silhouette from straight above and from the side, 1100 W/m2.
    assert ends.sum(axis=1).max() < 1100 * np.hypot(3.0 * 2.4, 3.0 * 2.2)
    np.testing.assert_allclose(ends[:, :3].sum(axis=1), model.light, rtol=1e-12, atol=1e-9)
    assert (model.damp <= model.light).all()


def test_light_on_the_cover_is_that_of_pvlib():
    from pvlib.irradiance import get_total_irradiance

    loaded = hobby_plan(azimuth=150)
    weather = hobby_weather(loaded, "spring")
    place = loaded.record.place
    position = sun.solar_position(weather.index, place.latitude, place.longitude, place.altitude)
    pieces, own = house_surfaces(loaded), model_of(loaded, weather).sun
    light = light_on_pieces(pieces, own, 150.0)
    up = np.asarray(position.apparent_zenith) < 90
    for number, (tilt, azimuth) in enumerate(zip(pieces.surface_tilt, pieces.surface_azimuth, strict=True)):
        zenith = np.asarray(position.apparent_zenith)
        ghi = weather["dni"] * np.maximum(np.cos(np.radians(zenith)), 0) + weather["dhi"]
        expected = get_total_irradiance(
            tilt, azimuth, zenith, np.asarray(position.azimuth), weather["dni"], ghi, weather["dhi"],
            albedo=place.albedo, model="isotropic",
        )["poa_global"]  # fmt: skip
        np.testing.assert_allclose(light[number][up], expected[up], rtol=1e-6, atol=1e-6)


def test_a_house_without_side_light_keeps_what_its_floor_swallows():
    # A box so flat that hardly any light comes from the side: transmittance x light on the level x floor, times 0.9 for
    # bars; slanting light loses a tenth, and of what the floor throws back, 0.1, a third comes back once more.
    flat = hobby_plan(shape="box", length="20 m", width="20 m", ridge="0.3 m", leaf_area=0.0, watered=True)
    weather = hobby_weather(flat, "spring")
    light = model_of(flat, weather).light
    noon = int(light.argmax())
    expected = 0.78 * 0.9 * 0.95 * 0.93 * weather["ghi"].to_numpy()[noon] * 400
    assert light[noon] == pytest.approx(expected, rel=0.06)


def test_more_leaf_means_more_vapour():
    vapour = [model_of(hobby_plan(planting=word)) for word in ("empty", "half", "full")]
    given = [each.vapour_heat(np.full(len(each.light), 25.0)).sum() for each in vapour]
    assert given[0] < 0.1 * vapour[0].light.sum()
    assert given[0] < given[1] < given[2]
    thirsty = model_of(hobby_plan(planting="full", watered=False))
    assert thirsty.vapour_heat(np.full(len(thirsty.light), 25.0)).sum() < 0.5 * given[2]


def test_leaf_area_and_water_are_as_the_plan_says_or_by_its_words():
    assert [leaf_area(hobby_plan(planting=word)) for word in ("empty", "half", "full")] == [0, 1, 3]
    assert leaf_area(hobby_plan(leaf_area=2.5)) == 2.5
    assert [watered(hobby_plan(planting=word)) for word in ("empty", "half")] == [False, True]
    assert watered(hobby_plan(planting="empty", floor="lawn"))
    assert not watered(hobby_plan(watered=False))


def test_a_solid_back_takes_light_and_holds_heat():
    clear, solid = model_of(hobby_plan()), model_of(hobby_plan(back="insulated-panel"))
    # The back of this house is 4.8 of its 26.8 m2.
    u_panel = 1 / (1 / 0.8 - 1 / 8.3 - 1 / 34)
    assert (solid.u_value < clear.u_value).all()
    assert (solid.u_value > (1 - 4.8 / 26.8) * clear.u_value).all()
    assert (solid.u_value < (1 - 4.8 / 26.8) * clear.u_value + 4.8 / 26.8 * u_panel).all()
    ends = light_ends(hobby_plan(back="insulated-panel"), solid.sun)
    assert 0.03 < ends[:, 2].sum() / ends.sum() < 0.2


def test_a_lean_to_has_the_wall_at_which_it_leans():
    ends = light_ends(hobby_plan(shape="lean-to"), model_of(hobby_plan(shape="lean-to")).sun)
    assert 0.05 < ends[:, 2].sum() / ends.sum() < 0.4


def test_a_shed_is_dry_unless_the_plan_says_otherwise(small_plan):
    assert planting(small_plan()) == "empty"
    assert planting(small_plan({"house.planting": "half"})) == "half"
    assert planting(small_plan({"house.use": "greenhouse"})) == "half"


def test_an_opaque_house_takes_no_light_but_warms_through_its_skin():
    model = model_of(hobby_plan(cover="boards"))
    assert model.light.max() == 0
    assert (model.temp_sol_air - model.temp_air).max() > 10


def test_a_clear_night_is_colder_than_its_air(model):
    dark = model.dark
    assert (model.temp_sol_air[dark] < model.temp_air[dark]).all()
    assert (model.temp_sol_air[dark] > model.temp_air[dark] - 8).all()


def test_shade_cloth_halves_the_light_in_its_months_and_helps_less_inside():
    base = hobby_plan()
    weather = hobby_weather(base, "spring")

    def light(**shade):
        plan = base.record.model_copy(update={"shade": Shade(**shade)})
        return model_of(Plan(plan, base.library), weather).light.sum()

    bare = model_of(base, weather).light.sum()
    assert light(transmittance=0.5) == pytest.approx(bare / 2)
    assert light(transmittance=0.5, months=[12]) == pytest.approx(bare)
    # Cloth inside throws back only part of what it stops; paint does not let out again what is in.
    assert bare / 2 < light(transmittance=0.5, place="inside") < bare
    assert bare / 2 < light(transmittance=0.5, place="paint") < 0.7 * bare
    assert light(transmittance=0.0, place="inside") > 0.2 * bare


def between_cover_and_cloth(passes, swallows, through, cloth_swallows, first):
    """Light of one that goes to and fro between a cover and cloth under it, beginning at one of them, until it is gone:
    what leaves through the cover and through the cloth, and what cover and cloth swallow."""
    gone = {"out": 0.0, "in": 0.0, "cover": 0.0, "cloth": 0.0}
    light, at = 1.0, first
    for _ in range(500):
        if at == "cover":
            gone["out"] += light * passes
            gone["cover"] += light * swallows
            light, at = light * max(1 - passes - swallows, 0.0), "cloth"
        else:
            gone["in"] += light * through
            gone["cloth"] += light * cloth_swallows
            light, at = light * (1 - through - cloth_swallows), "cover"
    return gone


@pytest.mark.parametrize("through", [0.3, 0.5, 0.8])
@pytest.mark.parametrize("cover", ["single-glass", "twin-wall-4mm"])
def test_light_goes_to_and_fro_between_cover_and_cloth(cover, through):
    plan = hobby_plan(cover=cover)
    plan = Plan(plan.record.model_copy(update={"shade": Shade(transmittance=through, place="inside")}), plan.library)
    bare, hung = house_light(plan).pane, house_light(plan, True).pane
    cosines = np.linspace(0, 1, len(bare.passed))
    # From all sides as at sixty degrees (Duffie & Beckman); cloth swallows seven parts in ten of what it stops.
    around = np.interp(0.5, cosines, bare.passed)
    stops = 0.7 * (1 - through)
    within = between_cover_and_cloth(around, bare.absorbed, through, stops, "cover")
    # From within light meets the cloth first: part goes through to the cover, the rest is swallowed or thrown back.
    np.testing.assert_allclose(hung.passing(0.5), through * within["out"], rtol=1e-9)
    np.testing.assert_allclose(hung.passing(cosines) / hung.passing(1.0), bare.passing(cosines) / bare.passing(1.0))
    assert hung.absorbed == pytest.approx(through * within["cover"])
    assert hung.absorbed_by_cloth == pytest.approx(stops + through * within["cloth"])
    # Light from outside meets the cloth with the same shares: what it swallows over what it lets in.
    enters = between_cover_and_cloth(around, bare.absorbed, through, stops, "cloth")
    assert hung.cloth_on_entry == pytest.approx(enters["cloth"] / enters["in"])
    # Paint only takes from what passes.
    shade = Shade(transmittance=through, place="paint")
    painted = house_light(Plan(plan.record.model_copy(update={"shade": shade}), plan.library), True).pane
    np.testing.assert_allclose(painted.passed, through * np.array(bare.passed))
    assert painted.absorbed == bare.absorbed


def test_bars_hold_back_a_tenth_and_swallow_half_of_what_meets_them():
    plan = hobby_plan()
    cover, pane = plan.cover("twin-wall-4mm"), house_light(plan).pane
    assert pane.passed[-1] == pytest.approx(0.9 * cover.transmittance)
    assert pane.passed[0] == 0.0
    assert pane.absorbed == pytest.approx(0.9 * cover.absorptance + 0.1 * 0.5)
    assert (np.diff(pane.passed) >= -1e-12).all()
    # Fresnel by hand: a face of polycarbonate (1.59) throws back 0.2068 and 0.0007 of the two polarisations at 60
    # degrees, 0.0519 square on; two sheets have four faces. Glass (1.526) would pass 0.898.
    slanted = [(1 - back) / (1 + 3 * back) for back in (0.2068, 0.0007, 0.0519)]
    assert pane.passing(0.5) / pane.passed[-1] == pytest.approx(sum(slanted[:2]) / 2 / slanted[2], abs=1e-3)


def test_what_stands_in_a_house_catches_by_its_area_and_its_darkness():
    # Half of the leaf shows, and takes 0.4 (Campbell & Norman, from memory); typical: a quarter of the floor in staging
    # of 0.7, drums of 0.8 by their fronts.
    plan = hobby_plan(drums=True)
    floor, mass = 3.0 * 2.4, plan.record.mass[0]
    area = np.array([0.5 * 1.0 * floor, 0.25 * floor, mass.count * mass.sun_area])
    taken = area * [0.4, 0.7, 0.8]
    np.testing.assert_allclose(caught_by(plan), taken / taken.sum())
    standing = house_standing(plan)
    assert standing.silhouette == pytest.approx(area.sum())
    assert standing.absorptance == pytest.approx(taken.sum() / area.sum())
    assert standing.height == 0.9


def test_a_screen_saves_at_night_only():
    base = hobby_plan()
    plan = base.record.model_copy(update={"screen": Screen(saving=0.3)})
    bare, screened = model_of(base), model_of(Plan(plan, base.library))
    ratio = screened.u_value / bare.u_value
    assert ratio[bare.dark] == pytest.approx(0.7)
    assert ratio[~bare.dark] == pytest.approx(1.0)


def test_water_in_the_light_takes_sun_and_stores(model):
    loaded = hobby_plan()
    more = add_mass(loaded, model, drums(832.8))
    first = FLOOR_NODES
    assert more.masses.capacity[first, 0] == pytest.approx(4 * 0.870e6, rel=5e-3)
    assert more.masses.conductance[first, 0] == pytest.approx(4 * 1.87 * 8.3)
    assert more.sun_mass[:, first].max() > 100
    # Whatever it catches, others catch less or left before.
    assert (more.light > model.light)[~model.dark].all()
    huge = add_mass(loaded, model, drums(1e5))
    assert huge.light.max() < light_ends(loaded, model.sun).sum(axis=1).max()
    back = drop_masses(loaded, more)
    np.testing.assert_allclose(back.light, model.light)
    np.testing.assert_allclose(back.masses.capacity, model.masses.capacity)


def test_drums_in_the_shade_take_no_sun():
    shaded = hobby_plan(drums=True)
    mass = [each.model_copy(update={"sunlit": False}) for each in shaded.record.mass]
    model = model_of(shaded.with_records(mass=mass))
    assert (model.sun_mass[:, FLOOR_NODES:] == 0).all()
    np.testing.assert_allclose(model.light, model_of(hobby_plan()).light)


def test_drums_in_the_plan_and_drums_added_are_alike():
    planned = hobby_plan(drums=True)
    weather = hobby_weather(planned, "winter-sunny")
    own = hobby_run(planned, weather, ("closed",)).case("closed")
    base = hobby_plan()
    grown = add_mass(base, model_of(base, weather), drums(832.8))
    start = mass_temperatures(planned, model_of(planned, weather))
    still = FanState.standing(base, len(weather))
    added = house_run(base, grown, still, ("closed",), mass_start=start).case("closed")
    # The cover of the house without drums knows nothing of their warmth; beside that they are the same.
    assert np.abs(own - added).max() < 1.0


def test_unknown_weather_is_calm_damp_and_clear():
    loaded = hobby_plan()
    full = hobby_weather(loaded, "spring")
    bare = full[["ghi", "dni", "dhi", "temp_air"]]
    model = model_of(loaded, bare)
    assert (model.wind_speed == 0).all()
    assert np.isfinite(model.temp_sol_air).all()
    gaps = full.copy()
    gaps["wind_speed"] = np.nan
    assert (model_of(loaded, gaps).wind_speed == 0).all()


def test_the_ground_follows_a_month_of_air():
    loaded = hobby_plan()
    index = pd.date_range("2001-01-01", periods=24 * 730, freq="h", tz="UTC")
    air = 10 - 10 * np.cos(2 * np.pi * np.arange(len(index)) / (24 * 365))
    weather = pd.DataFrame({"ghi": 0.0, "dni": 0.0, "dhi": 0.0, "temp_air": air}, index=index)
    ground = model_of(loaded, weather).temp_ground[24 * 365 :]
    # A first-order lag of 30 days: amplitude 1/sqrt(1 + (w tau)2) and as many days late (textbook).
    turn = 2 * np.pi * 30 / 365
    late = ground.argmax() / 24 - 365 / 2
    assert late == pytest.approx(np.arctan(turn) / (2 * np.pi) * 365, abs=1.0)
    assert np.ptp(ground) / 2 == pytest.approx(10 / np.hypot(1, turn), rel=0.03)


def test_the_ground_starts_as_the_month_to_come():
    loaded = hobby_plan()
    index = pd.date_range("2001-01-01", periods=24 * 60, freq="h", tz="UTC")
    hour = np.arange(len(index))
    air = np.where(hour < 24 * 30, 10.0 * (hour % 2), 15.0)
    weather = pd.DataFrame({"ghi": 0.0, "dni": 0.0, "dhi": 0.0, "temp_air": air}, index=index)
    ground = model_of(loaded, weather).temp_ground
    np.testing.assert_allclose(ground[: 24 * 30], 5.0, atol=0.01)
    # Then it nears the new air by a part in e each month.
    assert ground[-1] == pytest.approx(15.0 - 10.0 / np.e, abs=0.01)


@pytest.mark.parametrize("altitude", ["0 m", "2500 m"])
def test_the_air_outside_is_as_heavy_and_as_damp_as_psychrolib_has_it(small_plan, altitude):
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    loaded = small_plan({"place.altitude": altitude})
    weather = hobby_weather(hobby_plan(), "spring").assign(temp_air=35.0, relative_humidity=80.0)
    model = model_of(loaded, weather)
    pressure = psychrolib.GetStandardAtmPressure(float(altitude.split()[0]))
    ratio = psychrolib.GetHumRatioFromRelHum(35.0, 0.8, pressure)
    assert model.dew_point[0] == pytest.approx(psychrolib.GetTDewPointFromRelHum(35.0, 0.8), abs=0.05)
    assert model.density[0] == pytest.approx(psychrolib.GetMoistAirDensity(35.0, ratio, pressure), rel=5e-4)


def test_the_cover_loses_to_air_wind_and_sky_as_the_handbook_has_it():
    # ASHRAE Fundamentals (from memory): still air 3.0 and radiation 5.3 inside, 34 of rated winter wind outside;
    # Watmuff 1977: 2.8 + 3 v; radiation of a surface of 0.9, linear about the temperature of the air.
    loaded = hobby_plan()
    weather = hobby_weather(loaded, "spring")
    model = model_of(loaded, weather)
    wind, air = 0.5 * weather["wind_speed"].to_numpy(), weather["temp_air"].to_numpy()
    draught, radiation = 2.8 + 3.0 * wind, 4 * 0.9 * 5.670374e-8 * (air + 273.15) ** 3
    inside = 3.0 + 5.3 * 3.0 * 2.4 / model.cover_area
    own = 1 / 3.9 - 1 / 8.3 - 1 / 34.0
    np.testing.assert_allclose(model.u_value, 1 / (own + 1 / inside + 1 / (draught + radiation)), rtol=1e-4)
    np.testing.assert_allclose(model.draught_outside, draught)
    np.testing.assert_allclose(model.outside_film, draught + radiation, rtol=1e-6)
    assert model.inside_film == pytest.approx(inside)
    # By night the outer face seems as much colder as the sky draws from what of it is turned to the sky.
    night = model.dark
    area, tilt = house_surfaces(loaded).area, np.radians(house_surfaces(loaded).surface_tilt)
    view = (area * (1 + np.cos(tilt)) / 2).sum() / area.sum()
    sky = np.asarray(moist_air.sky_temperature(air, model.dew_point, weather["opaque_cover"].to_numpy(),
                                               sun.solar_hour(weather.index, 0.0)))  # fmt: skip
    colder = radiation * (air - sky) / (draught + radiation)
    share = ((air - model.temp_sol_air) / colder)[night]
    np.testing.assert_allclose(share, share[0], rtol=1e-6)
    assert 0.8 * view < share[0] <= 1.001 * view


def test_air_and_things_store_and_pass_heat_by_their_size(small_plan):
    drums = {"id": "drums", "part": "drum-208l", "count": 3}
    bare, full = model_of(small_plan()), model_of(small_plan({"mass": [drums]}))
    # 1.2 kg/m3 and 1006 J/(kg K), and light things twice as much beside it.
    assert bare.air_capacity == pytest.approx(3 * 1.2 * 1006.0 * 3 * 2 * 2.05)
    mass = small_plan({"mass": [drums]}).record.mass[0]
    assert full.masses.capacity[FLOOR_NODES, 0] == pytest.approx(3 * 0.2082 * 4.186e6, rel=0.01)
    through = 3 * mass.area / (1 / mass.film + mass.inner_resistance)
    assert full.masses.conductance[FLOOR_NODES, 0] == pytest.approx(through)
    assert full.masses.far_conductance[FLOOR_NODES, 0] == 0
    # ASHRAE 90.1, table A6.3 (from memory): 0.73 Btu/(h ft degF) at the edge of a slab that is not insulated; through
    # all of the floor at once, as if it were as warm as its top throughout.
    floor = model_of(small_plan({"house.floor": "slab"})).masses
    stored = floor.capacity[:FLOOR_NODES].sum()
    assert stored == pytest.approx(6 * 0.12 / 3 * 2.06e6, rel=1e-6)
    near, far = floor.conductance[:FLOOR_NODES, 0], floor.far_conductance[:FLOOR_NODES, 0]
    most = 0.73 * 1.7307 * 2 * (3 + 2)
    assert 0.5 * most < (near * far / (near + far)).sum() < most


@pytest.mark.parametrize(("planting", "wet", "grams"), [("empty", True, 2), ("half", True, 8), ("full", True, 20),
                                                        ("full", False, 2.0), ("empty", False, 0.2)])  # fmt: skip
def test_floor_and_leaves_seep_in_the_dark(planting, wet, grams):
    # Typical: two grams an hour from a square metre of damp floor, six from one of leaf, a tenth where nothing is
    # watered.
    model = model_of(hobby_plan(planting=planting, watered=wet))
    assert model.seeping * 3600e3 / (3.0 * 2.4) == pytest.approx(grams)


def test_the_energy_account_closes_on_a_plan_with_everything():
    # Energy in = out + stored, to 1e-9.
    loaded = hobby_plan(drums=True)
    weather = hobby_weather(loaded, "spring", "winter-dull")
    run = hobby_run(loaded, weather, CASES, heater=(500.0, 12.0))
    solution = run.solution
    count = solution.march.temp_air.shape[1]
    wide = type(run.model.masses)(*(np.repeat(values, count, axis=1) for values in vars(run.model.masses).values()))
    start = np.repeat(mass_temperatures(loaded, run.model)[:, None], count, axis=1)
    first = np.full(count, run.model.temp_air[0])
    error = heat_imbalance(3600.0, solution.march, solution.surroundings, wide, run.model.air_capacity, first, start)
    assert np.abs(error).max() < 1e-9
    assert run.heater.max() > 0


def test_what_a_house_holds_goes_by_its_use(small_plan):
    assert crop_of(small_plan()).name == "people and what they store"
    assert crop_of(small_plan({"house.use": "coop"})).name == "hens"
    assert crop_of(small_plan({"house.use": "greenhouse"})).least == 1
    assert crop_of(small_plan({"plants": {"crop": "tropical"}})).night == 21


def test_a_cloth_over_a_shed_keeps_the_sun_off_its_skin():
    base = hobby_plan(cover="boards")
    weather = hobby_weather(base, "spring")

    def warmed(share):
        plan = base.record.model_copy(update={"shade": Shade(transmittance=share)})
        return model_of(Plan(plan, base.library), weather).temp_sol_air

    np.testing.assert_allclose(warmed(0.5), (warmed(0.0) + warmed(1.0)) / 2, atol=1e-9)
    np.testing.assert_allclose(warmed(1.0), model_of(base, weather).temp_sol_air, atol=1e-9)
    assert (warmed(1.0) - warmed(0.0)).max() > 10
