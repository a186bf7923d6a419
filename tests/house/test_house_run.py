"""The house in a simulated span: in step with the run, and summed up."""

from datetime import date

import numpy as np
import pytest
from hobby import hobby_plan, hobby_run, hobby_weather
from sensitivity import sensitivity

from solarvent.electrical.panel_model import TYPICAL
from solarvent.plan.library import influences
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import (
    NIGHT_BAND,
    PEAK_BAND,
    heat_limit,
    hottest_span,
    house_cases,
    house_totals,
    temperature_bands,
)

MIDSUMMER = date(2001, 6, 21)


def test_the_hours_carry_the_house_as_planned(default_run):
    np.testing.assert_array_equal(default_run.hours["temp_inside"], default_run.house.case("both"))
    assert default_run.house.solution.residual < 0.01
    assert np.isfinite(default_run.house.temp_mass).all()


def test_a_house_that_agrees_slowly_is_given_the_turns_it_needs():
    # Tight, full of leaf, in winter sun: openers and fans take some fifteen turns with the heat, not eight.
    loaded = hobby_plan(tightness="tight", planting="full")
    run = hobby_run(loaded, hobby_weather(loaded, "winter-sunny"), ("closed", "openings", "fans", "both"))
    assert run.solution.residual < 0.01


def test_every_way_of_running_has_its_place(default_run):
    # By day in the months of need: shut is hottest, openings help, fans help more.
    rows = {row.case: row for row in house_cases(default_run)}
    assert rows["closed"].degree_hours > rows["openings"].degree_hours > rows["both"].degree_hours
    assert rows["closed"].maximum > rows["openings"].maximum > rows["both"].maximum
    # No openers in this plan: fans alone are fans with all its openings.
    assert rows["fans"].degree_hours == rows["both"].degree_hours


def test_cracks_and_fans_spread_the_hottest_hour(default_run):
    rows = {row.case: row for row in house_cases(default_run)}
    shut, work = (hottest_span(default_run, case) for case in ("closed", "both"))
    assert shut[0] < rows["closed"].maximum < shut[1]
    assert work[0] < rows["both"].maximum < work[1]
    # Shut, cracks are all the air that there is.
    assert shut[1] - shut[0] > work[1] - work[0] > 0.3
    assert house_totals(default_run)["hottest"]["closed"] == {"low": shut[0], "high": shut[1]}


def test_degree_hours_are_counted_above_the_limit_of_the_plants(default_run):
    limit = heat_limit(default_run)
    inside = default_run.house.case("both")
    row = next(row for row in house_cases(default_run) if row.case == "both")
    assert row.hours_above == (inside > limit).sum()
    assert row.degree_hours == pytest.approx(np.clip(inside - limit, 0, None).sum())
    assert house_totals(default_run)["cases"]["both"]["degree_hours"] == row.degree_hours


def test_ventilation_never_cools_below_what_surrounds_it(default_run):
    # By day the inside is never below the coldest of: outside, what the cover feels, and the masses.
    house = default_run.house
    lit = house.model.light > 50
    least = np.minimum.reduce([house.model.temp_air, house.model.temp_sol_air, house.temp_mass[:, :, -1].min(axis=1)])
    before = np.concatenate([least[:1], least[:-1]])
    assert (house.case("both")[lit] > np.minimum(least, before)[lit] - 0.5).all()


def test_one_day_stands_as_if_the_days_before_were_like_it(small_plan):
    # Under the same clear sky every day, the day alone and the day in its year are the same but for the slow ground.
    loaded = small_plan({"house.use": "greenhouse", "house.cover": "single-glass"})
    year, day = simulate(loaded, bands=(TYPICAL,)), simulate(loaded, MIDSUMMER, bands=(TYPICAL,))
    at = year.hours.index.get_indexer(day.hours.index)
    assert np.abs(year.hours["temp_inside"].to_numpy()[at] - day.hours["temp_inside"].to_numpy()).max() < 1.0


def test_a_year_begins_with_its_floor_at_the_temperature_of_its_ground(default_run):
    # Its own last December would leave the floor 5 to 8 K warmer; one hour moves it by less than 1 K.
    house = default_run.house
    assert np.abs(house.temp_mass[0] - house.model.temp_ground[0]).max() < 1.0
    assert (house.temp_mass[-1] - house.model.temp_ground[0]).min() > 3.0


def test_a_finer_step_tells_the_same_day(small_plan):
    # Of hourly steps the mean within the hour is kept; what is left is the shape of the sun within it.
    loaded = small_plan({"house.use": "greenhouse", "house.cover": "single-glass"})
    hourly, fine = (simulate(loaded, MIDSUMMER, step, (TYPICAL,)).hours["temp_inside"] for step in (3600.0, 600.0))
    assert fine.to_numpy().reshape(24, 6).mean(axis=1) == pytest.approx(hourly.to_numpy(), abs=1.5)


def test_more_vent_never_means_less_air_or_a_hotter_noon(small_plan):
    peaks, flows = [], []
    for area in ("0.05 m2", "0.1 m2", "0.3 m2"):
        changes = {"house.use": "greenhouse", "house.cover": "single-glass", "opening.0.area": area}
        run = simulate(small_plan(changes), MIDSUMMER, bands=(TYPICAL,))
        peaks.append(run.house.case("both").max())
        flows.append(run.house.flow[:, -1].max())
    assert peaks[0] > peaks[1] > peaks[2]
    assert flows[0] < flows[1] < flows[2]


def test_what_moves_the_answers_most(default_run):
    # The table that is shown is what the function gives for the embedded example, to its printed tenth and a bit.
    lines = {line.what: line for line in sensitivity(default_run)}
    assert set(lines) == {line.what for line in influences()}
    for shown in influences():
        assert lines[shown.what].peak == pytest.approx(shown.peak, abs=0.15)
        assert lines[shown.what].night == pytest.approx(shown.night, abs=0.15)


def test_the_bands_that_are_printed_cover_the_table():
    peak, night = np.sqrt((np.array([(line.peak, line.night) for line in influences()]) ** 2).sum(axis=0))
    assert peak <= PEAK_BAND <= 1.5 * peak
    assert night <= NIGHT_BAND <= 1.5 * night


def test_what_was_measured_narrows_the_bands_as_far_as_its_intervals_reach(small_plan):
    def bands(**measured):
        return temperature_bands(small_plan({"house.measured": measured}))

    def light(low, high, **more):
        return bands(light_factor=1.0, light_range=[low, high], **more)

    assert temperature_bands(small_plan()) == (PEAK_BAND, NIGHT_BAND)
    assert bands() == pytest.approx((PEAK_BAND, NIGHT_BAND))
    sharp, blurred = light(0.95, 1.05), light(0.8, 1.25)
    assert sharp[0] < blurred[0] < PEAK_BAND
    # Of the coldest hour the light tells hardly anything.
    assert sharp[1] == pytest.approx(NIGHT_BAND, abs=0.1)
    cold = bands(cover_factor=1.0, cover_range=[0.9, 1.1], ground_shift="1 K", ground_range=["0 K", "2 K"])
    assert cold[1] < sharp[1]
    # What days that were not fitted missed stands for everything that has no interval of its own.
    assert light(0.95, 1.05, day_error="1 K")[0] == pytest.approx(np.hypot(1.0, 2.1 * 0.25), abs=0.05)
