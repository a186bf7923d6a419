"""Two hundred houses by chance: leaf, floor and cover move a shut house in the sun in the direction of physics."""

import numpy as np
import pytest
from hobby import hobby_plan, hobby_run, hobby_weather

from solarvent.house import light_balance

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
def steps(quick):
    """By how much the hottest hour moves from empty to half planted, and from half to full, in all houses. [K]"""
    rng = np.random.default_rng(3)
    base = hobby_weather(hobby_plan(), "spring")
    found = []
    for _ in range(HOUSES):
        house, wind, warmer = random_house(rng)
        weather = base.assign(wind_speed=wind, temp_air=base["temp_air"] + warmer)
        hottest = [
            hobby_run(hobby_plan(**house, planting=word), weather, ("closed",)).case("closed")[-24:].max()
            for word in ("empty", "half", "full")
        ]
        found.append(np.diff(hottest))
    return np.array(found).T


def test_watered_leaf_cools_a_shut_house(steps):
    to_half, to_full = steps
    assert np.mean(to_half > 0) < 0.05
    assert np.mean(to_full > 0) < 0.08
    assert to_half.mean() < -3
    assert to_full.mean() < -0.5


@pytest.mark.xfail(
    strict=True,
    reason="under two tight layers dew gives most of its heat back to the air: 15 of 400 steps warm the house, one by"
    " 1.6 K in a low tunnel, the others by less than 0.9 K",
)
def test_watered_leaf_never_makes_a_shut_house_warmer(steps):
    assert steps.max() <= 0


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
