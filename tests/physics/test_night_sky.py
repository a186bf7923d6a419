import numpy as np
import pytest

from solarvent.physics.night_sky import sky_temperature, sky_temperature_from_air

SIGMA = 5.670374e-8


def test_clear_sky_by_the_air_alone_in_its_other_form():
    # Swinbank 1963 gives the radiation itself: 5.31e-13 T**6 W/m2 (from memory). Fourth root: 0.0553 T**1.5.
    kelvin = 283.15
    radiated = SIGMA * (sky_temperature_from_air(10.0) + 273.15) ** 4
    assert radiated == pytest.approx(5.31e-13 * kelvin**6, rel=0.01)


def test_the_two_relations_agree_in_middling_air():
    # Both were fitted to nights; at 15 degC with a dew point of 8 they lie within 3 K.
    assert sky_temperature(15.0, 8.0) == pytest.approx(sky_temperature_from_air(15.0), abs=3)


def test_against_the_tabulated_emittance_of_clear_skies():
    # Berdahl & Martin 1984 (from memory): dew point 0 degC 0.711, 20 degC 0.852.
    for dew, emittance in ((0.0, 0.711), (20.0, 0.852)):
        ratio = ((sky_temperature(20.0, dew) + 273.15) / 293.15) ** 4
        assert ratio == pytest.approx(emittance, abs=1e-3)


def test_a_sky_full_of_low_cloud_radiates_nearly_as_a_black_body():
    # Textbook range for overcast skies with low cloud: emittance 0.90-1.00 (from memory).
    emittance = ((sky_temperature(10.0, 5.0, 8.0) + 273.15) / 283.15) ** 4
    assert 0.90 <= emittance <= 1.0


def test_cloud_warms_the_sky_but_never_above_the_air():
    skies = sky_temperature(10.0, 5.0, np.arange(0, 10))
    assert (np.diff(skies) >= 0).all()
    assert (sky_temperature(20.0, 24.0, np.arange(0, 10)) <= 20 + 1e-9).all()
    assert skies[9] == skies[8]
