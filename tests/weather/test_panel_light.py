from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.weather.conditions import cell_temperature, effective_irradiance, string_shade_factor

plain = settings(deadline=None, max_examples=60)


@pytest.mark.parametrize(
    ("light", "air", "noct", "cell"), [(1000, 20, 40, 45), (600, 40, 100, 100), (1000, 60, 20, 60)]
)
def test_cell_temperature_by_ross(light, air, noct, cell):
    # PV-18: test_temperature.py of the pvlib project, release 0.16; R. G. Ross 1980. Any numbers, not usual ones.
    assert float(cell_temperature(light, air, noct)) == pytest.approx(cell, abs=1e-12)


def test_a_flush_panel_is_hotter_in_proportion_to_the_light():
    light = np.array([0.0, 500.0, 1000.0])
    rise = cell_temperature(light, 20.0, 45.0, mounting_offset=10.0) - cell_temperature(light, 20.0, 45.0)
    assert rise.tolist() == pytest.approx([0.0, 5.0, 10.0])


def test_light_passes_dirt_glass_and_shadow_one_after_the_other():
    assert float(effective_irradiance(800.0)) == 800.0
    assert float(effective_irradiance(800.0, 0.95, 0.85, 0.5)) == pytest.approx(800.0 * 0.95 * 0.85 * 0.5)
    assert effective_irradiance([100.0, 200.0], shade=[0.0, 1.0]).tolist() == [0.0, 200.0]


def test_a_leaf_on_one_cell_leaves_its_lit_share_and_the_sky():
    assert float(string_shade_factor(0.0, 0.0)) == 0.0
    assert float(string_shade_factor(0.0, 0.25)) == 0.25
    assert float(string_shade_factor(1.0, 0.25)) == 1.0
    assert string_shade_factor([0.2, 0.6], 0.5).tolist() == pytest.approx([0.6, 0.8])


@pytest.mark.parametrize("share", [-0.1, 1.1, np.nan])
def test_shares_outside_0_to_1_give_nothing(share):
    assert np.isnan(string_shade_factor(share))
    assert np.isnan(string_shade_factor(0.5, share))
    assert np.isnan(effective_irradiance(800.0, soiling_ratio=share))
    assert np.isnan(effective_irradiance(800.0, glazing=share))
    assert np.isnan(effective_irradiance(800.0, shade=share))


@plain
@given(st.lists(st.floats(0, 1), min_size=2, max_size=6), st.floats(0, 1))
def test_more_shadow_never_gives_more_light(lit, diffuse_share):
    factors = string_shade_factor(sorted(lit), diffuse_share)
    assert all(low <= high + 1e-12 for low, high in pairwise(factors))
    assert np.all((factors >= diffuse_share - 1e-12) & (factors <= 1))
