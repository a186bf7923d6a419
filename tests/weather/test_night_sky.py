import numpy as np
import pytest

from solarvent.weather.moist_air import sky_temperature, sky_view


def test_an_older_relation_agrees_in_middling_air():
    # Swinbank 1963, 0.0552 T**1.5 in kelvin (from memory), of the air alone; both were fitted to nights: at 15 degC
    # with a dew point of 8 they lie within 3 K.
    assert sky_temperature(15.0, 8.0) == pytest.approx(0.0552 * 288.15**1.5 - 273.15, abs=3)


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


def test_cloud_closes_what_a_clear_sky_leaves_open():
    # Martin & Berdahl 1984 (from memory), worked by hand: a clear sky of 0.711 at a dew point of 0 degC lacks 0.289 of
    # a black body; an overcast at 2 km makes up exp(-2/8.2) = 0.7836 of that, half a sky of it one half.
    for oktas, emittance in ((4.0, 0.8242), (8.0, 0.9375)):
        ratio = ((sky_temperature(20.0, 0.0, oktas) + 273.15) / 293.15) ** 4
        assert ratio == pytest.approx(emittance, abs=1e-4)


def test_in_the_steam_of_a_hothouse_climate_the_sky_is_as_warm_as_the_air():
    # The relation passes 1 at a dew point of 34.5 degC, far outside the measurements.
    assert sky_temperature(40.0, 38.0, [0.0, 8.0]) == pytest.approx([40.0, 40.0])


def test_a_wall_sees_a_third_of_the_cold_sky():
    # Walton 1983 (from memory): a wall sees half of the sky, of it the warm lower part: 0.5 sqrt(0.5) = 0.354.
    assert sky_view([0.0, 60.0, 90.0, 180.0]) == pytest.approx([1.0, 0.75**1.5, 0.5**1.5, 0.0])


def test_the_clearest_nights_of_a_measured_month():
    # BSRN Payerne, June 2016, pyrgeometer by the minute: in the clearest tenth of the nights, at 12.7 degC and 95 %
    # (dew point 11.9), the sky lies 14.4 K below the air.
    assert sky_temperature(12.7, 11.9, 0.0, 1.0) - 12.7 == pytest.approx(-14.4, abs=1.5)
    assert sky_temperature(12.7, 11.9, 0.0, 13.0) < sky_temperature(12.7, 11.9) < sky_temperature(12.7, 11.9, 0.0, 1.0)
