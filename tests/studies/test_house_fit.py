"""The fit itself: straight lines whose best fit is known, and a house that is carried as the plan's own is."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import least_squares

from solarvent.air.network import FanState
from solarvent.house.house_run import house_run, mass_temperatures
from solarvent.house.model import house_model
from solarvent.studies.house_fit import PRIORS, LoggedHouse, _blended, _days_to_steps, _Search
from solarvent.studies.log_span import span_of_log
from solarvent.weather import sky, sun
from solarvent.weather.house_log import HouseLog

PLACE = {"place": {"latitude": 50.0, "longitude": 0.0, "timezone": "UTC"}, "house.use": "greenhouse",
         "house.cover": "single-glass", "mass": [{"id": "drums", "part": "drum-208l"}]}  # fmt: skip
NAMES = [prior.name for prior in PRIORS]


@pytest.fixture(scope="module")
def plan(small_plan):
    return small_plan(PLACE)


def span_of(plan, days, light=True, inside=None, begin="2025-04-12 06:00"):
    index = pd.date_range(begin, periods=24 * days, freq="h", tz="UTC")
    air = 8.0 - 5.0 * np.cos(2 * np.pi * (index.hour - 3) / 24)
    columns = {"inside": air + 3.0 if inside is None else inside, "outside": air, "wind": 2.0, "humidity": 75.0}
    if light:
        columns["sun"] = sky.clear_sky(index, 50.0, 0.0, 0.0).ghi * np.repeat(np.resize([1.0, 0.4, 0.8], days), 24)
    return span_of_log(plan, HouseLog("log.csv", pd.DataFrame(columns, index=index), 3600.0, "w/m2", ()))


# --- straight lines -------------------------------------------------------------------------------------------------


class Line(LoggedHouse):
    """Stands for a house whose temperature is a straight line of its figures, some K for each spread."""

    def __init__(self, plan, span, slopes):
        super().__init__(plan, span, shut=True)
        days, hour = span.day, np.arange(len(span.times))
        random = np.random.default_rng(3)
        self.line = np.zeros((len(hour), len(self.priors)))
        for k, prior in enumerate(self.priors):
            own = np.flatnonzero([each.name == prior.name for each in self.priors])
            if prior.name in ("night", "sky"):
                # A day's own figure works on its day alone.
                mine = days == np.flatnonzero(own == k)[0]
                self.line[mine, k] = slopes * (span.lit == (prior.name == "sky"))[mine]
            else:
                self.line[:, k] = slopes * np.sin(hour * random.uniform(0.05, 1.0) + random.uniform(0, 6))

    def temperatures(self, z):
        return 15.0 + self.line @ z


def cost(house, found, z):
    """Soft L1 beyond two noises of readings that speak alike, and the figures themselves (J. Huber; scipy has it)."""
    at = house.span.observed.last[found.fitted]
    lit = house.span.lit[at].astype(int)
    noise, kinship = np.array(found.noise)[lit], np.array(found.kinship)[lit]
    off = (house.temperatures(z)[at] - house.span.observed.value[found.fitted]) / (noise * np.sqrt(kinship))
    whole = sum(
        least_squares(lambda x, k=k: off[kinship == k] + 0 * x[0], [0.0], loss="soft_l1", f_scale=2.0 / np.sqrt(k),
                      max_nfev=1).cost for k in set(kinship)
    )  # fmt: skip
    return whole + 0.5 * (z @ z)


@pytest.fixture(scope="module")
def line(plan):
    """Twenty days of a line with known figures; noise of one kelvin by night and two by day, and some open doors."""
    house = Line(plan, span_of(plan, 20), 1.5)
    random = np.random.default_rng(7)
    z = np.clip(random.normal(0, 0.7, len(house.priors)), -1.5, 1.5)
    noise = np.where(house.span.lit, 2.0, 1.0) * random.normal(size=len(house.span.times))
    noise[200:203] -= 12.0
    house.span.observed.value[:] = house.temperatures(z) + noise
    fitted = np.ones(len(noise), dtype=bool)
    fitted[::9] = False
    return house, z, house.fit(fitted)


def test_the_fit_of_a_line_is_where_its_loss_is_least(line):
    house, _, found = line
    least = cost(house, found, found.z)
    for k in range(len(found.z)):
        for nudge in (-0.1, 0.1):
            moved = found.z.copy()
            moved[k] += nudge
            assert cost(house, found, moved) > least


def test_the_noise_of_a_line_is_told_by_night_and_by_day(line):
    house, z, found = line
    assert found.noise[0] == pytest.approx(1.0, rel=0.2)
    assert found.noise[1] == pytest.approx(2.0, rel=0.2)
    # Errors of hours that know nothing of each other: readings of five hours say the same at the least.
    assert found.kinship == pytest.approx((5.0, 5.0), abs=0.5)
    within = np.abs(found.z - z) < 2.6 * np.sqrt(np.diag(found.covariance))
    assert within.mean() > 0.95
    np.testing.assert_array_equal(found.temp_inside, house.temperatures(found.z))
    np.testing.assert_array_equal(found.temp_before, 15.0)
    np.testing.assert_array_equal(found.temp_coolest, found.temp_inside)
    np.testing.assert_array_equal(found.temp_warmest, found.temp_inside)


def test_the_covariance_of_a_line_is_that_of_the_normal_equations(line):
    # Bayes with normal priors of one spread: the inverse of A'WA + 1 (textbook), W by the slope of the loss.
    house, _, found = line
    lit = house.span.lit.astype(int)[found.fitted]
    scale = (np.array(found.noise) * np.sqrt(found.kinship))[lit]
    off = (found.temp_inside - house.span.observed.value)[found.fitted] / scale
    weight = 1 / np.sqrt(1 + off**2 / (4.0 / np.array(found.kinship)[lit]))
    rows = house.line[found.fitted] / scale[:, None]
    exact = np.linalg.inv((rows * weight[:, None]).T @ rows + np.eye(len(found.z)))
    # The noise was found anew after it: a few per cent.
    np.testing.assert_allclose(np.sqrt(np.diag(found.covariance)), np.sqrt(np.diag(exact)), rtol=0.06)


def test_errors_that_last_for_a_night_say_one_thing_together(plan):
    house = Line(plan, span_of(plan, 20), 0.01)
    block = house.span.day * 3 + np.where(house.span.lit, 1 + (house.span.position.azimuth > 180), 0)
    random = np.random.default_rng(5)
    house.span.observed.value[:] = 15.0 + random.choice([-1.0, 1.0], block.max() + 1)[block]
    found = house.fit(np.ones(len(block), dtype=bool))
    sizes = [np.median(np.unique(block[chosen], return_counts=True)[1]) for chosen in (~house.span.lit, house.span.lit)]
    assert found.kinship == pytest.approx(sizes, rel=0.1)
    # 1.48 medians of what is all as large: the scale of normal errors.
    assert found.noise == pytest.approx((1.4826, 1.4826), rel=0.03)


@pytest.mark.parametrize(("spent", "left"), [(0.0, 1.0), (0.36, 0.64), (1.0, 0.05)])
def test_readings_spent_on_figures_know_the_noise_the_less(plan, spent, left):
    # Of n readings that p figures were fitted to, n - p say what the noise is (textbook).
    house = Line(plan, span_of(plan, 4), 0.01)
    every = np.ones(len(house.span.times), dtype=bool)
    every[5:9] = False
    temp = house.span.observed.value + np.resize([2.0, -2.0], len(every))
    noise, _ = house._errors(temp, every, np.full((every.sum() + 3, 1), np.sqrt(spent)), np.eye(1))
    assert noise == pytest.approx([1.4826 * 2.0 / np.sqrt(left)] * 2)


def test_quiet_readings_keep_the_noise_that_a_model_leaves(plan):
    house = Line(plan, span_of(plan, 4), 0.01)
    house.span.observed.value[:] = 15.0 + 0.1 * (-1) ** np.arange(len(house.span.times))
    found = house.fit(np.ones(len(house.span.times), dtype=bool))
    assert found.noise == (0.6, 0.6)
    house.span.dense = False
    sparse = house.fit(np.ones(len(house.span.times), dtype=bool))
    assert sparse.noise == (1.0, 1.0)
    assert sparse.kinship == pytest.approx((1.0, 1.0), abs=1e-6)
    # Of less than three readings by day nothing is told: what is begun with stands.
    few = ~house.span.lit
    few[np.flatnonzero(house.span.lit)[:2]] = True
    assert house.fit(few).noise == (1.0, 1.6)


def test_no_figure_leaves_its_bounds(plan):
    house = Line(plan, span_of(plan, 6), 4.0)
    for sign in (-1, 1):
        far = np.zeros(len(house.priors))
        far[[0, 4]] = 3.0 * sign, -5.0 * sign
        house.span.observed.value[:] = house.temperatures(far)
        found = house.fit(np.ones(len(house.span.times), dtype=bool))
        # Cracks twelve times those of an average house, and three spreads of the others.
        assert found.z[0] == pytest.approx(2.0 * sign, abs=0.02)
        assert found.z[4] == pytest.approx(-3.0 * sign, abs=0.02)
        assert (np.abs(found.z) <= found.ends).all()
        assert found.ends.tolist() == [2.0] + [3.0] * (len(far) - 1)


def test_slopes_of_the_loss_are_those_of_its_value():
    kinship = np.array([1.0, 5.0, 9.0])
    search = _Search(SimpleNamespace(), np.ones(3, dtype=bool), np.ones(3), kinship)
    for squares in (0.0, 0.3, 4.0, 50.0):
        at = np.full(5, squares)
        loss = search.loss(at)
        step = 1e-4
        up, down = search.loss(at + step), search.loss(at - step if squares else at)
        width = 2 * step if squares else step
        np.testing.assert_allclose((up[:2] - down[:2]) / width, loss[1:], rtol=2e-3, atol=1e-4)
        for k, kin in enumerate(kinship):
            one = least_squares(lambda x, s=squares: np.sqrt([s]) + 0 * x, [0.0], loss="soft_l1",
                                f_scale=2.0 / np.sqrt(kin), max_nfev=1)  # fmt: skip
            assert loss[0, k] == pytest.approx(2 * one.cost)
        assert loss[:, 3:].T.tolist() == [[squares, 1.0, 0.0]] * 2


# --- light of days --------------------------------------------------------------------------------------------------


def test_light_between_two_days_is_a_line_over_the_night(plan):
    span = span_of(plan, 3, light=False)
    weights = _days_to_steps(span)
    np.testing.assert_allclose(weights.sum(axis=1), 1.0)
    lit = np.flatnonzero(span.lit)
    np.testing.assert_array_equal(weights[lit].argmax(axis=1), span.day[lit])
    assert (weights[lit].max(axis=1) == 1).all()
    gap = np.flatnonzero(np.diff(lit) > 1)[0]
    dusk, dawn = lit[gap], lit[gap + 1]
    now, then = span.day[dusk], span.day[dawn]
    np.testing.assert_allclose(weights[dusk : dawn + 1, then], np.linspace(0, 1, dawn - dusk + 1), atol=1e-12)
    np.testing.assert_allclose(weights[dusk : dawn + 1, now], np.linspace(1, 0, dawn - dusk + 1), atol=1e-12)
    # Before the first and after the last light: as there.
    assert (weights[: lit[0], span.day[lit[0]]] == 1).all()
    assert (weights[lit[-1] :, span.day[lit[-1]]] == 1).all()
    dark = SimpleNamespace(day=span.day, lit=np.zeros_like(span.lit), times=span.times)
    np.testing.assert_array_equal(_days_to_steps(dark).argmax(axis=1), span.day)


def under_sky(plan, span, share, cover):
    """The plan's house under so much of a clear sky, as light of the sky alone."""
    weather = span.weather.copy()
    if cover:
        weather["ghi"], weather["dni"], weather["dhi"] = share * span.clear.ghi, 0.0, share * span.clear.ghi
    weather["opaque_cover"] = float(cover)
    return house_model(plan, weather, span.position, np.asarray(span.times.month), span.step)


def test_a_house_under_unknown_light_lies_between_a_clear_and_an_overcast_sky(plan):
    span = span_of(plan, 3, light=False)
    house = LoggedHouse(plan, span, shut=True)
    of_sky = np.array([prior.name == "sky" for prior in house.priors])
    middle, spread = np.array([(p.middle, p.spread) for p in house.priors if p.name == "sky"]).T

    def at(share):
        z = np.zeros(len(house.priors))
        z[of_sky] = (share - middle) / spread
        return house.under(z)

    clear, dull = under_sky(plan, span, 1.0, 0), under_sky(plan, span, 0.25, 8)
    for name in ("ghi", "light", "sun_air", "sun_mass", "damp", "temp_sol_air"):
        np.testing.assert_allclose(getattr(at(1.0), name), getattr(clear, name), atol=1e-6)
        np.testing.assert_allclose(getattr(at(0.25), name), getattr(dull, name), atol=1e-6)
        half = (getattr(clear, name) + getattr(dull, name)) / 2
        np.testing.assert_allclose(getattr(at(0.625), name), half, atol=1e-6)
    # Under less than an overcast sky light goes on to fall, to nothing at the least; the sky does not get warmer.
    np.testing.assert_allclose(at(0.1).temp_sol_air, dull.temp_sol_air, atol=1e-6)
    np.testing.assert_allclose(at(0.2).ghi, dull.ghi - (clear.ghi - dull.ghi) * 0.05 / 0.75, atol=1e-6)
    gone = _blended(dull, clear, np.full(len(span.times), -0.9))
    assert gone.light.min() == 0
    assert gone.sun_mass.min() == 0


# --- the house itself -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def house(plan):
    return LoggedHouse(plan, span_of(plan, 4), shut=True)


def moved(house, **spreads):
    z = np.zeros(len(house.priors))
    for name, many in spreads.items():
        z[[prior.name == name for prior in house.priors]] = many
    return z


def carried(plan, house, lead=10):
    """A plan's house under the same weather: ten days made of the first two, then the log."""
    span = house.span
    model = house_model(plan, span.weather, span.position, np.asarray(span.times.month), span.step)
    at = np.concatenate([np.tile(np.arange(48), lead // 2), np.arange(len(span.times))])
    run = house_run(plan, model.part(at), FanState.standing(plan, len(at)), ("closed",),
                    mass_start=mass_temperatures(plan, model))  # fmt: skip
    return run.temp_inside[-len(span.times) :, 0]


def test_with_the_figures_of_the_tables_it_is_the_plan_s_own_house(plan, house):
    # But for the air of the first hours, which begins once more at the outside's.
    np.testing.assert_allclose(house.usual[3:], carried(plan, house)[3:], atol=0.03)
    np.testing.assert_array_equal(house.usual, house.temperatures(moved(house)))


def test_figures_do_what_they_do_in_a_plan(plan, house):
    # What is written into the plan is what the fit had, one figure at a time and all together.
    keys = {"leakage": "leakage_factor", "light": "light_factor", "cover": "cover_factor", "storage": "storage_factor"}
    spreads = {"leakage": -0.5, "light": 0.8, "cover": 0.7, "storage": 0.9, "ground": -0.6}
    for chosen in (*([name] for name in spreads), list(spreads)):
        some = {name: spreads[name] for name in chosen}
        values = {prior.name: prior.value(some.get(prior.name, 0.0)) for prior in PRIORS}
        figures = {keys[name]: values[name] for name in keys} | {"ground_shift": f"{values['ground']} K"}
        written = carried(plan.with_({"house.measured": figures}), house)
        np.testing.assert_allclose(house.temperatures(moved(house, **some))[3:], written[3:], atol=0.05)


def test_what_was_measured_before_counts_for_nothing(plan, house):
    told = plan.with_({"house.measured": {"light_factor": 0.7, "leakage_factor": 3.0}})
    np.testing.assert_array_equal(LoggedHouse(told, house.span, shut=True).usual, house.usual)


def test_layers_show_at_the_thermometer_by_day_alone(house):
    rise = np.maximum(house.usual - house.span.weather["temp_air"], 0.0) * house.span.lit
    shown = house.temperatures(moved(house, layers=2.0)) - house.usual
    np.testing.assert_allclose(shown, 0.16 * rise, atol=1e-9)


def test_a_clear_night_takes_more_or_less_of_what_the_sky_draws(house):
    dark, bare = house.usual * 0 + house.under(moved(house)).dark, house.under(moved(house))
    drawn = bare.temp_sol_air - bare.temp_air
    for spreads, factor in (({"chill": 1.0}, 1.15), ({"chill": -1.0}, 0.85), ({"night": 1.0}, 1.35),
                            ({"night": -3.0}, 0.0)):  # fmt: skip
        told = house.under(moved(house, **spreads))
        changed = (told.temp_sol_air - told.temp_air)[dark == 1]
        np.testing.assert_allclose(changed, factor * drawn[dark == 1], atol=1e-9)
        np.testing.assert_array_equal(told.temp_sol_air[dark == 0], bare.temp_sol_air[dark == 0])


def test_a_night_belongs_to_the_day_before_it(house):
    z = moved(house)
    nights = np.flatnonzero([prior.name == "night" for prior in house.priors])
    z[nights[1]] = 1.0
    bare, told = house.under(moved(house)), house.under(z)
    at = np.flatnonzero(told.temp_sol_air != bare.temp_sol_air)
    lit = np.flatnonzero(house.span.lit & (house.span.day == 1))
    assert at.min() == lit.max() + 1
    # Until the sun is up again.
    assert at.max() == np.flatnonzero(house.span.lit & (house.span.day == 2)).min() - 1
    assert len(at) == at.max() - at.min() + 1


def test_the_light_of_a_day_is_its_own(house):
    z = moved(house)
    slants = np.flatnonzero([prior.name == "sky" for prior in house.priors])
    z[slants[2]] = 1.0
    share = house.under(z).light / np.maximum(house.under(moved(house)).light, 1e-9)
    lit = house.under(moved(house)).light > 1
    np.testing.assert_allclose(share[lit & (house.span.day == 2)], 1.08)
    np.testing.assert_allclose(share[lit & (house.span.day != 2)], 1.0)


def test_where_floor_and_masses_stood_at_the_start_is_forgotten(house):
    starts = np.flatnonzero([prior.name == "start" for prior in house.priors])
    drums, floor = moved(house), moved(house)
    drums[starts[-1]] = floor[starts[0]] = 1.0
    for z in (drums, floor):
        warmer = house.temperatures(z) - house.usual
        assert warmer[:5].mean() > 0
        assert np.abs(warmer[-24:]).max() < warmer[:24].max()
    # Four kelvin in the drum, two in the first mode of the floor's top; the air of a shut house takes some of it.
    assert 0.02 < (house.temperatures(drums) - house.usual)[0] < 4.0
    settled = next(iter(house._settled.values()))
    assert settled.shape == (4,)


def test_effects_are_what_each_figure_does_by_itself(house):
    z = moved(house, light=0.3)
    temp = house.temperatures(z)
    effects = house.effects(z, temp)
    assert effects.shape == (len(temp), len(z))
    for k, prior in enumerate(house.priors):
        one = z.copy()
        one[k] += 0.1
        alone = (house.temperatures(one) - temp) / 0.1
        if prior.name not in ("night", "sky"):
            np.testing.assert_array_equal(effects[:, k], alone, err_msg=prior.name)
        else:
            # Those of a day are moved together with those of other days: what is left of it after some days is nothing.
            np.testing.assert_allclose(effects[:, k], alone, atol=0.01, err_msg=prior.name)
    again = house.effects(moved(house), house.usual, effects)
    daily = np.array([prior.name in ("night", "sky") for prior in house.priors])
    np.testing.assert_array_equal(again[:, daily], effects[:, daily])
    assert (again[:, ~daily] != effects[:, ~daily]).any()
    assert again is not effects


def test_days_are_moved_together_and_each_keeps_its_own(plan):
    house = LoggedHouse(plan, span_of(plan, 9), shut=True)
    z = moved(house)
    effects = house.effects(z, house.usual)
    daily = [k for k, prior in enumerate(house.priors) if prior.name == "sky"]
    for number in (0, 1, 6, 8):
        one = z.copy()
        one[daily[number]] += 0.1
        alone = (house.temperatures(one) - house.usual) / 0.1
        # Largest on its day; six days on it is forgotten to a few hundredths of what it did.
        assert np.abs(effects[:, daily[number]] - alone).max() < 0.05 * np.abs(alone).max()


def test_fans_turn_in_the_light_of_the_log(plan):
    span = span_of(plan, 3)
    free, shut = LoggedHouse(plan, span), LoggedHouse(plan, span, shut=True)
    bright, dark = span.weather["ghi"] > 500, span.clear.ghi == 0
    assert free._running[:, bright].all()
    assert not free._running[:, dark].any()
    assert (free._voltage[:, bright] > 10).all()
    assert not shut._running.any()
    assert (free.usual <= shut.usual + 1e-6).all()
    assert (shut.usual - free.usual)[bright].max() > 2
    # Without a word of the light the fans meet its middle: less than under a clear sky.
    unknown = LoggedHouse(plan, span_of(plan, 3, light=False))
    clear = LoggedHouse(plan, span_of(plan, 3, light=False))
    clear.span.shares[:, 0] = 1.0
    assert unknown.ground == pytest.approx(unknown.span.weather["temp_air"].mean(), abs=0.5)
    assert unknown._voltage.max() <= clear._turning()[0].max()
    weak = unknown._voltage.sum()
    unknown.span.shares[:, 0] *= 0.5
    assert unknown._turning()[0].sum() < weak


def test_a_log_of_a_polar_night_has_its_days(small_plan):
    plan = small_plan(PLACE | {"place": {"latitude": 78.0, "longitude": 0.0, "timezone": "UTC"}})
    span = span_of(plan, 3, light=False, begin="2025-12-10 06:00")
    house = LoggedHouse(plan, span, shut=True)
    np.testing.assert_array_equal(house._night, span.day)
    assert np.isfinite(house.usual).all()
    assert not sun.solar_position(span.times, 78.0, 0.0).apparent_zenith.min() < 90
