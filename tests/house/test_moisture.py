import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.house.moisture import vapour_balance
from solarvent.weather.moist_air import humidity_ratio, saturation_pressure

plain = settings(deadline=None, max_examples=80)


@plain
@given(
    made=st.floats(0.0, 1e-3), flow=st.floats(1e-4, 1.0), outside=st.floats(0.0, 0.02, allow_subnormal=False),
    surface=st.floats(0.0, 0.04, allow_subnormal=False),
    area=st.floats(1.0, 60.0),
)  # fmt: skip
def test_vapour_made_is_vapour_gone(made, flow, outside, surface, area):
    ratio, dew = vapour_balance(made, flow, outside, surface, area)
    assert made == pytest.approx(flow * (ratio - outside) + dew, rel=1e-9, abs=1e-15)
    assert dew >= 0
    assert (dew == 0) == (ratio <= surface)


def test_no_dew_on_a_surface_above_the_dew_point():
    # PSY-09: dew where the face is below the dew point of the air.
    outside = humidity_ratio(0.6 * saturation_pressure(10.0))
    warm, cold = (humidity_ratio(saturation_pressure(face)) for face in (8.0, 0.0))
    assert vapour_balance(0.0, 0.01, outside, warm, 25.0).dew == 0
    assert vapour_balance(0.0, 0.01, outside, cold, 25.0).dew > 0


def test_in_a_tight_house_all_vapour_settles():
    # 0.1 g/s on 25 m2. A film of 3 W/(m2 K) over the 1006 J/(kg K) of air (Lewis) needs 1.341 g/kg of excess for it.
    ratio, dew = vapour_balance(1e-4, 0.0, 0.005, 0.008, 25.0)
    assert dew == pytest.approx(1e-4, rel=1e-9)
    assert ratio - 0.008 == pytest.approx(1.341e-3, rel=1e-3)


def test_more_air_dries_the_house():
    ratios = vapour_balance(1e-4, [0.005, 0.02, 0.1], 0.006, 0.05, 25.0).humidity_ratio
    assert (np.diff(ratios) < 0).all()


def test_a_burner_without_a_flue_makes_a_house_drip():
    # PSY-10: 400 000 Btu/h of natural gas make 4.6 gal of water an hour (stoichiometry; a growers' magazine says up to
    # 5). Methane: 2 x 18/16 kg of water a kilogram, 55.5 MJ/kg (from memory).
    water = 400_000 * 0.293071 / 55.5e6 * 2.25
    assert water * 3600 / 3.785 == pytest.approx(4.6, rel=0.10)
    cold = humidity_ratio(saturation_pressure(2.0))
    assert vapour_balance(water, 0.1, 0.003, cold, 300.0).dew > 0.5 * water


def test_nothing_moves_the_vapour():
    assert np.isnan(vapour_balance(0.0, 0.0, 0.01, 0.02, 25.0).humidity_ratio)
