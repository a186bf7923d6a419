"""From a fit to what is said and written: intervals, held-out days, misses, and what is left out."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from solarvent.studies import calibrate as module
from solarvent.studies.calibrate import Calibration, Estimate, Miss, calibrate
from solarvent.studies.house_fit import LAYERS, PRIORS
from solarvent.studies.log_span import Observed, span_of_log
from solarvent.weather import sky
from solarvent.weather.house_log import HouseLog

PLACE = {"place": {"latitude": 50.0, "longitude": 0.0, "timezone": "UTC"}}
NAMES = [prior.name for prior in PRIORS]


@pytest.fixture(scope="module")
def plan(small_plan):
    return small_plan(PLACE)


def log_of(days, light=True, begin="2025-04-12 05:00", rows=24):
    index = pd.date_range(begin, periods=days * rows, freq=f"{24 // rows}h", tz="UTC")
    air = 8.0 - 5.0 * np.cos(2 * np.pi * (index.hour - 3) / 24)
    clear = sky.clear_sky(index, 50.0, 0.0, 0.0).ghi
    columns = {"inside": air + 1.0 + 0.02 * clear, "outside": air} | ({"sun": clear} if light else {})
    return HouseLog("log.csv", pd.DataFrame(columns, index=index), 3600.0 * 24 / rows, "w/m2", ())


# --- which days -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "kept"), [(41, 41 * 24), (43, 42 * 24 + 1), (60, 42 * 24 + 1)])
def test_of_a_long_log_the_last_season_is_used(days, kept):
    log = log_of(days)
    found = module._last_days(log)
    assert len(found.table) == kept
    assert found.table.index[-1] == log.table.index[-1]
    assert found.notes == (() if days == 41 else ("Of a longer log the last 42 days are used.",))


@pytest.mark.parametrize(("days", "share", "held"), [(8, 0.25, [2, 6]), (7, 0.25, [2, 5]), (12, 0.25, [2, 6, 10]),
                                                     (3, 0.25, [2]), (4, 0.5, [1, 3]), (2, 0.5, []), (8, 0.0, []),
                                                     (8, 1.0, []), (3, 0.1, [])])  # fmt: skip
def test_days_that_are_held_out_lie_evenly(plan, days, share, held):
    span = span_of_log(plan, log_of(days))
    found = module._held_out(span, share)
    assert sorted(set(span.day[found].tolist())) == held
    # Of a day that is held out every reading is.
    assert (found == np.isin(span.day, held)).all()


def test_without_light_their_nights_alone_are_held_out(plan):
    span = span_of_log(plan, log_of(8, light=False))
    found = module._held_out(span, 0.25)
    assert (found == (np.isin(span.day, [2, 6]) & ~span.lit)).all()
    rows = span.times[span.times.hour == 8]
    columns = {"outside_min": 3.0, "outside_max": 13.0, "inside_min": 5.0, "inside_max": 25.0}
    book = span_of_log(plan, HouseLog("log.csv", pd.DataFrame(columns, index=rows), 86_400.0, "", ()))
    held = module._held_out(book, 0.25)
    assert held.any()
    assert (book.observed.kind[held] < 0).all()


# --- intervals ------------------------------------------------------------------------------------------------------


def fit_of(spreads, z=None, correlation=None, more=2):
    """A fit of the five figures and some more, with known spreads."""
    count = len(spreads) + more
    matrix = np.eye(count)
    if correlation is not None:
        first, second, share = correlation
        matrix[first, second] = matrix[second, first] = share
    scale = np.append(spreads, np.ones(more))
    whole = np.zeros(count)
    whole[: len(spreads)] = 0.0 if z is None else z
    return SimpleNamespace(
        covariance=matrix * np.outer(scale, scale), z=whole, ends=np.array([2.0] + [3.0] * (count - 1))
    )


def test_a_figure_is_told_as_far_as_its_spread_has_shrunk():
    estimates, rank = module._estimates(fit_of([0.3, 0.49, 0.51, 0.84, 0.86]))
    assert [each.told for each in estimates] == ["yes", "yes", "in part", "in part", "no"]
    assert [each.width for each in estimates] == pytest.approx([0.3, 0.49, 0.51, 0.84, 0.86])
    # Directions in which what was not known has halved.
    assert rank == 2
    assert [each.name for each in estimates] == NAMES
    assert all(each.why == prior.source for each, prior in zip(estimates, PRIORS, strict=True))


def test_an_interval_is_that_of_nine_in_ten_within_what_may_be():
    spreads, z = np.array([0.2, 0.4, 0.6, 0.9, 0.5]), np.array([1.9, -1.0, 0.5, 2.9, -2.97])
    ninety = norm.ppf(0.95)
    estimates, _ = module._estimates(fit_of(spreads, z))
    for each, prior, at, spread, end in zip(estimates, PRIORS, z, spreads, [2.0, 3, 3, 3, 3], strict=True):
        low, high = max(at - ninety * spread, -end), min(at + ninety * spread, end)

        def value(share, prior=prior):
            figure = prior.middle + prior.spread * share
            return np.exp(figure) if prior.is_factor else figure

        assert (each.low, each.value, each.high) == pytest.approx((value(low), value(at), value(high)), rel=1e-3)
        assert (each.prior_low, each.prior_high) == pytest.approx((value(-ninety), value(ninety)), rel=1e-3)
    assert [each.at_end for each in estimates] == [False, False, False, False, True]
    assert module._estimates(fit_of(spreads, [1.96, 0, 0, -2.96, 2.94]))[0][0].at_end
    assert [each.at_end for each in module._estimates(fit_of(spreads, [1.96, 0, 0, -2.96, 2.94]))[0]] == [
        True, False, False, True, False,
    ]  # fmt: skip


@pytest.mark.parametrize(("share", "together"), [(0.85, True), (-0.85, True), (0.75, False)])
def test_figures_that_go_together_are_named_with_each_other(share, together):
    estimates, _ = module._estimates(fit_of([0.3] * 5, correlation=(1, 3, share)))
    assert [each.with_ for each in estimates] == (
        [(), ("storage",), (), ("light",), ()] if together else [()] * 5
    )  # fmt: skip


def test_what_is_known_only_together_is_one_direction():
    # Two figures with a spread of 0.6 each that go together: their sum is not known, their difference is.
    assert module._estimates(fit_of([0.6, 0.6, 0.9, 0.9, 0.9]))[1] == 0
    assert module._estimates(fit_of([0.6, 0.6, 0.9, 0.9, 0.9], correlation=(0, 1, 0.9)))[1] == 1


# --- misses ---------------------------------------------------------------------------------------------------------


def test_misses_are_counted_by_night_and_by_day(plan):
    span = span_of_log(plan, log_of(3))
    value = span.observed.value
    off = np.where(span.lit, 2.0, 1.0) * np.resize([1.0, -1.0, 3.0], len(value))
    fit = SimpleNamespace(temp_inside=value + off, temp_before=value + 10 * off)
    tested = span.day == 1
    found = module._misses(span, fit, tested)
    for name, chosen in (("all", tested), ("night", tested & ~span.lit), ("day", tested & span.lit)):
        size = np.sort(np.abs(off[chosen]))
        before, after = found[name]
        assert after.count == before.count == chosen.sum()
        assert after.median == pytest.approx(np.median(size))
        assert after.root == pytest.approx(np.sqrt((size**2).mean()))
        assert before.root == pytest.approx(10 * after.root)
        # Nine in ten lie under it.
        assert (size <= after.ninety + 1e-9).mean() >= 0.9 - 1 / len(size)
        assert (size >= after.ninety - 1e-9).mean() >= 0.1
    few = np.zeros_like(tested)
    few[np.flatnonzero(span.lit)[:3]] = True
    few[np.flatnonzero(~span.lit)[:2]] = True
    assert set(module._misses(span, fit, few)) == {"all", "day"}


def test_a_least_counts_for_the_night_and_a_most_for_the_day():
    kind = np.array([-1, 1] * 4)
    spans = Observed(kind, np.arange(8), np.arange(8) + 1, np.arange(8.0))
    span = SimpleNamespace(observed=spans, lit=np.ones(9, dtype=bool))
    temp = np.arange(9.0)
    fit = SimpleNamespace(temp_inside=temp, temp_before=temp)
    found = module._misses(span, fit, np.ones(8, dtype=bool))
    assert (found["night"][1].count, found["day"][1].count) == (4, 4)
    assert found["day"][1].median > 0.5 > found["night"][1].median


def test_each_hour_of_the_sun_has_its_mean(plan):
    span = span_of_log(plan, log_of(4))
    hour = span.solar_hour.astype(int)
    off = 0.1 * hour + np.where(span.day % 2, 1.0, -1.0)
    span.sound[:] = (hour != 7) & (span.day > 0)
    span.sound[:3] = False
    fit = SimpleNamespace(temp_inside=span.observed.value - off, temp_before=span.observed.value + off)
    rows = module._by_hour(span, fit)
    assert rows.shape == (24, 3)
    assert rows[:, 2].sum() == span.sound.sum()
    for each in range(24):
        chosen = span.sound & (hour == each)
        assert rows[each, 2] == chosen.sum()
        if each == 7:
            assert np.isnan(rows[each, :2]).all()
        else:
            assert rows[each, 1] == pytest.approx(off[chosen].mean())
            assert rows[each, 0] == pytest.approx(-off[chosen].mean())


# --- what is said and written ---------------------------------------------------------------------------------------


def found_of(plan, log, told=("yes", "in part", "no", "yes", "yes"), trusted=True, misses=("night", "day")):
    estimates = [
        Estimate(name, 1.23456, 0.98765, 1.54321, 0.5, 2.0, 0.3, word, (), False, "")
        for name, word in zip(NAMES, told, strict=True)
    ]
    two = {name: (Miss(9, 1.0, 2.0, 3.0), Miss(9, 0.4, 0.5, 0.876)) for name in misses}
    return Calibration(plan, log, None, tuple(estimates), 3, None, np.zeros(0), two, 9.0, np.zeros((24, 3)), (), (),
                       trusted, date(2025, 6, 1))  # fmt: skip


def test_what_is_told_is_written_with_its_range(plan):
    found = found_of(plan, log_of(6))
    figures = found.figures()
    assert figures == {
        "source": "solarvent calibrate, log.csv, 2025-04-12 to 2025-04-18, 7 days, worked out 2025-06-01",
        "leakage_factor": 1.23, "leakage_range": [0.988, 1.54], "light_factor": 1.23, "light_range": [0.988, 1.54],
        "storage_factor": 1.23, "storage_range": [0.988, 1.54],
        "ground_shift": "1.23 K", "ground_range": ["0.99 K", "1.54 K"], "night_error": "0.88 K", "day_error": "0.88 K",
    }  # fmt: skip
    [edit] = found.edits()
    assert (edit.section, edit.key, edit.value) == ("house", "measured", figures)
    # It is a plan that may be used as it is.
    assert plan.with_({"house.measured": figures}).record.house.measured.storage_factor == 1.23


def test_what_is_not_told_or_not_trusted_is_not_written(plan):
    assert set(found_of(plan, log_of(6), told=["no"] * 5).figures()) == {"source", "night_error", "day_error"}
    assert set(found_of(plan, log_of(6), told=["no"] * 5, misses=("day",)).figures()) == {"source", "day_error"}
    doubted = found_of(plan, log_of(6), trusted=False)
    assert set(doubted.figures()) == {"source"}
    assert doubted.edits() == []


def test_days_are_those_of_the_plan_s_clock_and_midnight_ends_its_day(plan, small_plan):
    for begin, days, last in (("2025-04-12 00:00", 6, 17), ("2025-04-12 01:00", 6, 17), ("2025-04-12 02:00", 7, 18)):
        found = found_of(plan, log_of(6, begin=begin))
        assert found.dates == (date(2025, 4, 12), date(2025, 4, last))
        assert found.days == days
    west = small_plan({"place": PLACE["place"] | {"longitude": -75.0, "timezone": "Etc/GMT+5"}})
    assert found_of(west, log_of(6, begin="2025-04-12 04:00")).dates == (date(2025, 4, 11), date(2025, 4, 17))
    one = log_of(1)
    single = HouseLog("log.csv", one.table[:1].set_axis(pd.DatetimeIndex(["2025-04-12"], tz="UTC")), 3600.0, "", ())
    assert found_of(plan, single).days == 1


# --- what is left out -----------------------------------------------------------------------------------------------


class Fits:
    """Stands for the house: it remembers which readings it was asked to fit."""

    ground = 9.0

    def __init__(self, plan, span, shut):
        self.asked, self.span = [], span
        self.usual = np.full(len(span.times), 15.0)
        type(self).last = self

    def fit(self, fitted):
        self.asked.append(fitted)
        z = np.zeros(len(PRIORS) + 1)
        z[-1] = self.layers
        temp = np.full(len(self.span.times), 15.0)
        return SimpleNamespace(priors=(*PRIORS, LAYERS), z=z, covariance=0.01 * np.eye(len(z)), temp_inside=temp,
                               temp_before=temp, ends=np.full(len(z), 3.0), fitted=fitted)  # fmt: skip


@pytest.fixture
def told(plan, monkeypatch):
    """Give a function that calibrates with a share of the readings odd."""

    def work(share=0.0, unfit=False, layers=0.0, days=8, **more):
        monkeypatch.setattr(module, "read_log", lambda *_: log_of(days, **more))
        monkeypatch.setattr(module, "LoggedHouse", type("Fitted", (Fits,), {"layers": layers}))

        def odd(span, _):
            out = np.zeros(len(span.sound), dtype=bool)
            out[: round(share * len(out))] = True
            return out, ["A door stood open."] if share else [], unfit

        monkeypatch.setattr(module, "odd_readings", odd)
        return calibrate(plan, "log.csv", shut=True), module.LoggedHouse.last

    return work


def test_a_sound_log_is_fitted_once_without_what_is_held_out(told):
    found, house = told()
    [fitted] = house.asked
    assert (fitted == ~found.held_out).all()
    assert found.trusted
    assert found.ground_before == 9.0
    assert found.notes == ()
    assert set(found.misses) == {"all", "night", "day"}
    assert found.misses["all"][0].count == found.held_out.sum()
    assert len(found.by_hour) == 24


@pytest.mark.parametrize(("share", "again"), [(0.2, True), (0.55, True), (0.65, False)])
def test_odd_readings_are_left_out_while_enough_are_left(told, share, again):
    # Two of five readings that were fitted must stay.
    found, house = told(share)
    assert len(house.asked) == 1 + again
    assert house.asked[0].sum() > house.asked[-1].sum() or not again
    assert found.notes == ("A door stood open." + " These hours are left out." * again,)
    assert found.span.sound[: round(share * len(found.span.sound))].any() != again
    # What is odd is not tested either.
    assert found.misses["all"][1].count == (found.held_out & found.span.sound).sum()


def test_six_readings_must_stay_at_the_least(told):
    # Of eight that are fitted, six hours apart.
    for odd, again in ((2 / 8, True), (3 / 8, False)):
        _, house = told(odd, days=2, rows=4, light=False)
        assert house.asked[0].sum() == 8
        assert len(house.asked) == 1 + again


def test_a_model_that_does_not_fit_is_not_trusted_and_leaves_nothing_out(told):
    found, house = told(0.3, unfit=True)
    assert len(house.asked) == 1
    assert found.span.sound.all()
    assert not found.trusted
    assert found.notes[0] == "A door stood open."
    assert "nothing is written" in found.notes[1]
    assert found.edits() == []


@pytest.mark.parametrize(("layers", "said"), [(1.9, False), (2.1, True), (-2.5, False)])
def test_layers_of_air_are_told_from_two_spreads_on(told, layers, said):
    found, _ = told(layers=layers)
    assert any(f"reads {0.08 * layers:.0%} of the rise" in note for note in found.notes) == said


def test_a_log_too_short_to_hold_days_out_is_told(told):
    found, _ = told(days=2)
    assert found.misses == {}
    assert found.notes == ("The log is too short to hold days out.",)
