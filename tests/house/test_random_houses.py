"""Two hundred houses by chance: leaf, floor and cover move a shut house in the sun in the direction of physics."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hobby import hobby_plan, hobby_run, hobby_weather

from solarvent.air.network import FanState
from solarvent.house import light_balance
from solarvent.house.house_run import house_run

COVERS = (
    "single-glass",
    "film-single",
    "film-double",
    "twin-wall-4mm",
    "twin-wall-10mm",
    "acrylic-sheet",
    "double-glass",
)
HOUSES = 200


def random_house(rng):
    """A house that somebody might build, and the wind and warmth of its day."""
    shape = str(rng.choice(["gable", "tunnel", "box", "shed", "lean-to"]))
    width, length = rng.uniform(1.8, 5.0), rng.uniform(2.0, 8.0)
    eaves = 0.0 if shape == "tunnel" else rng.uniform(1.2, 2.0)
    ridge = max(rng.uniform(0.35, 0.6) * width, 1.7) if shape == "tunnel" else eaves + rng.uniform(0.4, 1.5)
    house = {
        "shape": shape, "length": f"{length:.2f} m", "width": f"{width:.2f} m", "eaves": f"{eaves:.2f} m",
        "ridge": f"{ridge:.2f} m", "cover": str(rng.choice(COVERS)), "azimuth": float(rng.uniform(0, 360)),
        "floor": str(rng.choice(["soil", "gravel", "slab", "boards"])),
        "tightness": str(rng.choice(["tight", "average", "leaky"])),
    }  # fmt: skip
    return house, rng.uniform(0.0, 5.0), rng.uniform(-12.0, 8.0)


@pytest.fixture
def quick(monkeypatch):
    """Fewer rays: the same in all houses that are compared."""
    monkeypatch.setattr(light_balance, "_RAYS_A_PATCH", 64)
    monkeypatch.setattr(light_balance, "_RAYS_FROM_NODES", 2000)
    light_balance.light_balance.cache_clear()
    yield
    light_balance.light_balance.cache_clear()


@pytest.fixture
def planted(quick):
    """Two hundred houses, each empty, half and fully planted: weather, and plan and shut house through three days."""
    rng = np.random.default_rng(3)
    base = hobby_weather(hobby_plan(), "spring")
    found = []
    for _ in range(HOUSES):
        house, wind, warmer = random_house(rng)
        weather = base.assign(wind_speed=wind, temp_air=base["temp_air"] + warmer)
        plans = [hobby_plan(**house, planting=word) for word in ("empty", "half", "full")]
        found.append((weather, [(plan, hobby_run(plan, weather, ("closed",))) for plan in plans]))
    return found


def last_day(run):
    return run.case("closed")[-24:]


def shaded_as_before(weather, before, after):
    """The house with more leaf, whose floor takes as much of the light as it did with less."""
    model, plan = after[1].model, after[0]
    taken = before[1].model.sun_mass
    model = replace(model, sun_mass=taken, sun_air=model.light - taken.sum(axis=1))
    return house_run(plan, model, FanState.standing(plan, len(weather)), ("closed",))


@pytest.mark.long
def test_watered_leaf_never_makes_a_shut_house_warmer(planted):
    # Leaf turns light into vapour, whose heat comes back as dew at the most in part: the mean of a day falls with every
    # step, from empty to half and from half to full, in every house; and so does the hottest hour, if the floor takes
    # as much light as before.
    hottest = []
    for weather, runs in planted:
        for before, after in pairwise(runs):
            was, now = last_day(before[1]), last_day(after[1])
            assert now.mean() < was.mean()
            assert last_day(shaded_as_before(weather, before, after)).max() < was.max() - 1.0
            hottest.append(now.max() - was.max())
    # What the two leave open is physics: leaf shades the floor, and light that a cool slab would have kept until the
    # evening is in the air at noon. Where two tight layers give most of the dew's heat back, that can outweigh the
    # vapour in the hottest hour.
    assert np.mean(np.array(hottest) > 0) < 0.05
    assert np.mean(hottest) < -3
    assert max(hottest) < 2.0


@pytest.mark.long
def test_a_darker_floor_a_tighter_house_and_a_warmer_cover_make_it_hotter(quick):
    rng = np.random.default_rng(4)
    base = hobby_weather(hobby_plan(), "spring")
    for _ in range(HOUSES // 10):
        house, wind, warmer = random_house(rng)
        weather = base.assign(wind_speed=wind, temp_air=base["temp_air"] + warmer)

        def hottest(house=house, weather=weather, **change):
            return hobby_run(hobby_plan(**house | change), weather, ("closed",)).case("closed")[-24:].max()

        assert hottest(tightness="tight") > hottest(tightness="average") > hottest(tightness="leaky")
        dry = {"planting": "empty", "watered": False}
        assert hottest(floor="boards", **dry) > hottest(floor="slab", **dry)
        assert hottest(floor="slab", **dry) > hottest(floor="lawn", planting="empty")
        assert hottest(floor="soil", **dry) > hottest(floor="soil", planting="empty", watered=True)
        # The same light, and less loss.
        assert hottest(cover="twin-wall-6mm") > hottest(cover="polycarbonate-sheet") - 3.0
