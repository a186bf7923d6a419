"""Where the sun stands, light on planes and the clear sky, against almanacs, papers, textbooks and pvlib's tests."""

from __future__ import annotations

import numpy as np
import pandas as pd
from reference_table import MEMORY, READ, WHOLE, WORKED_FROM, checks, row

from solarvent.weather import planes, sky, sun

TOPIC = "Sun and clear sky"
USNO = "Astronomical Applications Department, U.S. Naval Observatory, as quoted in test_spa.py of pvlib 0.16"
DUFFIE = "J. A. Duffie, W. A. Beckman, Solar Engineering of Thermal Processes"
PVLIB_SKY = "test_clearsky.py of pvlib 0.16"
PVLIB_LIGHT = "test_irradiance.py of pvlib 0.16"

# --- where the sun stands -------------------------------------------------------------------------------------------

_ALMANAC = [
    # latitude, longitude, zone, place, day, rise, set
    (39.0, -105.0, "Etc/GMT+7", "39 N 105 W", "2015-01-02", "07:19", "16:49"),
    (39.0, -105.0, "Etc/GMT+7", "39 N 105 W", "2015-04-02", "05:43", "18:24"),
    (39.0, -105.0, "Etc/GMT+7", "39 N 105 W", "2015-08-02", "05:01", "19:10"),
    (39.0, -105.0, "Etc/GMT+7", "39 N 105 W", "2015-12-02", "07:01", "16:38"),
    (39.917, 116.383, "Etc/GMT-8", "40 N 116 E", "2015-01-02", "07:36", "17:00"),
    (39.917, 116.383, "Etc/GMT-8", "40 N 116 E", "2015-04-02", "05:58", "18:39"),
    (39.917, 116.383, "Etc/GMT-8", "40 N 116 E", "2015-08-02", "05:13", "19:28"),
    (39.917, 116.383, "Etc/GMT-8", "40 N 116 E", "2015-12-02", "07:17", "16:50"),
]


def _hours(clock):
    return int(clock[:2]) + int(clock[3:]) / 60


@checks(
    TOPIC, USNO, READ,
    # 1 to 2 minutes: the almanac prints whole ones, and the refraction of the day is its own.
    *(
        row(f"SOL-04{letter}{end}", f"sun{word}, {place}, {day}", "h", _hours(clock), within=1.5 / 60)
        for letter, (*_, place, day, rise, sets) in zip("abcdefgh", _ALMANAC, strict=True)
        for end, word, clock in (("1", "rise", rise), ("2", "set", sets))
    ),
)  # fmt: skip
def sunrise_and_sunset_of_the_almanac():
    """The upper limb on the horizon with 34 minutes of refraction: the centre at a zenith of 90.833 degrees."""
    found = []
    for latitude, longitude, zone, _, day, *_ in _ALMANAC:
        times = pd.date_range(day, periods=289, freq="5min", tz=zone)
        depth = sun.solar_position(times, latitude, longitude).zenith - 90.833
        for at in np.flatnonzero(np.diff(np.sign(depth))):
            found.append((at + depth[at] / (depth[at] - depth[at + 1])) / 12)
    return found


def _at_declination(first, last, declination, hours):
    """An instant of this declination, and the longitude where it is then this hour of solar time.

    At the pole the sun's height is its declination, and its azimuth its hour angle.
    """
    times = pd.date_range(first, last, freq="10min", tz="UTC")
    pole = sun.solar_position(times, 90.0, 0.0)
    at = np.argmin(np.abs(90.0 - pole.zenith - declination))
    longitude = 15.0 * (hours - 12.0) - (pole.azimuth[at] - 180.0)
    return times[[at]], (longitude + 180.0) % 360.0 - 180.0


def _incidence(plane):
    """Angle between the sun and the normal of a plane. [deg]"""
    return np.degrees(np.arccos(plane.cos_aoi[0]))


@checks(
    TOPIC, f"{DUFFIE}, example 1.6.1 (recomputed)", MEMORY,
    row("SOL-06", "incidence, 43 N, 13 Feb 10:30, tilt 45, 15 W of S", "deg", 35.18, within=0.5),
    kind=WHOLE,
)  # fmt: skip
def incidence_of_a_textbook():
    instant, longitude = _at_declination("2013-02-01", "2013-02-28", -14.0, 10.5)
    position = sun.solar_position(instant, 43.0, longitude)
    return [_incidence(planes.plane_of_array(position, 45.0, 195.0, ghi=[0.0], dni=[0.0], dhi=[0.0]))]


@checks(
    TOPIC, f"{DUFFIE}, example 1.6.2 (recomputed)", MEMORY,
    row("SOL-07a", "zenith, 43 N, 13 February 09:30 solar", "deg", 66.5, within=0.2),
    row("SOL-07b", "azimuth east of south, 43 N, 13 February 09:30", "deg", 40.1, within=0.2),
    row("SOL-07c", "zenith, 43 N, 1 July 18:30 solar", "deg", 79.6, within=0.2),
    row("SOL-07d", "azimuth west of south, 43 N, 1 July 18:30", "deg", 112.0, within=0.2),
)  # fmt: skip
def sun_of_a_textbook():
    winter, summer = (
        sun.solar_position(instant, 43.0, longitude)
        for instant, longitude in (
            _at_declination("2013-02-01", "2013-02-28", -13.95, 9.5),
            _at_declination("2013-06-25", "2013-07-10", 23.12, 18.5),
        )
    )
    return [winter.zenith[0], 180 - winter.azimuth[0], summer.zenith[0], summer.azimuth[0] - 180]


@checks(
    TOPIC, f"{DUFFIE}, examples 1.10.1 and 1.10.2 (recomputed)", MEMORY,
    row("SOL-08a", "light above the air, 43 N, 15 April, day", "MJ/m2", 33.8, rel=0.005),
    row("SOL-08b", "light above the air, 43 N, 15 April, 10 to 11 h", "MJ/m2", 3.79, rel=0.005),
    kind=WHOLE,
)  # fmt: skip
def light_above_the_air():
    instant, longitude = _at_declination("2013-04-01", "2013-04-30", 9.41, 10.5)
    energies = []
    for minutes in (np.arange(-720, 720) + 0.5, np.arange(-30, 30) + 0.5):
        position = sun.solar_position(instant[0] + pd.to_timedelta(minutes, unit="min"), 43.0, longitude)
        up = np.clip(np.cos(np.radians(position.zenith)), 0, None)
        energies.append(np.sum(position.dni_extra * up) * 60 / 1e6)
    return energies


@checks(
    TOPIC, "example of I. Reda, A. Andreas 2004, Solar Energy 76, 577-589: 17 Oct 2003, 39.74 N 105.18 W", MEMORY,
    # Their algorithm is good to 0.0003 degrees, the ephemeris used here to 0.012.
    row("SOL-01a", "zenith at 12:30:30 of 17 October 2003", "deg", 50.11162, within=0.02),
    row("SOL-01b", "azimuth at 12:30:30 of 17 October 2003", "deg", 194.34024, within=0.02),
    row("SOL-02", "incidence then, tilt 30, 10 east of south", "deg", 25.187, within=0.02),
    kind=WHOLE,
)  # fmt: skip
def worked_example_of_the_solar_position_algorithm():
    instant = pd.DatetimeIndex(["2003-10-17 12:30:30"]).tz_localize("Etc/GMT+7")
    position = sun.solar_position(instant, 39.742476, -105.1786, 1830.14)
    plane = planes.plane_of_array(position, 30.0, 170.0, ghi=[0.0], dni=[0.0], dhi=[0.0])
    return [position.apparent_zenith[0], position.azimuth[0], _incidence(plane)]


def _plane(zenith, azimuth, tilt, facing, albedo=0.2, **light):
    one = [np.array([value], dtype=float) for value in (zenith, zenith, azimuth, 1367.0)]
    place = sun.SolarPosition(*one, np.array([80]))
    return planes.plane_of_array(place, tilt, facing, albedo=albedo, **light)


_COSINES = np.cos(np.radians([75.5225, 119.4987])).tolist()


@checks(
    TOPIC, PVLIB_LIGHT, READ,
    # To the last digit of the angles there, 75.5225 and 119.4987 degrees.
    row("SOL-05a", "cosine of incidence, north wall, sun 30 from zenith in 60", "-", _COSINES[0], within=2e-6),
    row("SOL-05b", "cosine of incidence, north wall, sun 30 from zenith in 170", "-", _COSINES[1], within=2e-6),
    row("SOL-22a", "even sky of 100 W/m2 on a tilt of 40", "W/m2", 88.302, within=1e-3),
    row("SOL-22b", "ground of 900 W/m2, albedo 0.25, on the same", "W/m2", 26.320, within=1e-3),
)  # fmt: skip
def light_on_planes():
    none = {"ghi": [0.0], "dni": [0.0], "dhi": [0.0]}
    even = _plane(40, 180, 40, 180, **none | {"dhi": [100.0]})
    below = _plane(40, 180, 40, 180, 0.25, **none | {"ghi": [900.0]})
    return [
        *(_plane(30, azimuth, 90, 0, **none).cos_aoi[0] for azimuth in (60, 170)),
        (even.sky_view * even.sky)[0],
        (below.ground_view * below.ground)[0],
    ]


# --- clear sky ------------------------------------------------------------------------------------------------------


def _air_mass(zenith, altitude=0.0):
    """The air mass within the clear sky: its beam falls by exp(-0.09 air mass) for each step of turbidity."""
    dni = sky.clear_sky_at([zenith] * 2, 1364.0, [4.0, 5.0], altitude).dni
    return np.log(dni[0] / dni[1]) / 0.09


KASTEN_YOUNG = "F. Kasten, A. T. Young 1989, Applied Optics 28, 4735-4738"


@checks(
    TOPIC, f"{KASTEN_YOUNG}; value in test_atmosphere.py of pvlib 0.16", READ,
    row("SOL-10", "air mass with the sun 80 from zenith", "-", 5.586, within=0.003, wrong=5.759,
        why_wrong="1/cos(zenith) takes the earth for flat: 3 % too much at 80 degrees, without end at 90"),
)  # fmt: skip
def air_mass_of_a_low_sun():
    return [_air_mass(80.0)]


@checks(
    TOPIC, f"{KASTEN_YOUNG}; air pressure at 1000 m 89 874.75 Pa (test_atmosphere.py of pvlib 0.16)", WORKED_FROM,
    row("SOL-10b", "air mass with the sun 60 from zenith", "-", 1.9943, within=0.001),
    row("SOL-10c", "air mass with the sun 75 from zenith", "-", 3.813, within=0.002),
    row("SOL-12", "air mass overhead at 1000 m", "-", 0.99971 * 89874.75 / 101325, within=0.001),
)  # fmt: skip
def air_mass_of_the_clear_sky():
    return [_air_mass(60.0), _air_mass(75.0), _air_mass(0.0, 1000.0)]


@checks(
    TOPIC, f"P. Ineichen, R. Perez 2002, Solar Energy 73, 151-157; values in {PVLIB_SKY}", READ,
    row("SOL-15a", "clear sky, air mass 1, turbidity 3: global", "W/m2", 1038.16, within=0.5),
    row("SOL-15b", "clear sky, air mass 1, turbidity 3: beam", "W/m2", 942.21, within=0.5),
    row("SOL-15c", "clear sky of 2000 m, air mass 1: global", "W/m2", 1134.24, within=0.5),
    row("SOL-15d", "clear sky of 2000 m, air mass 1: beam", "W/m2", 994.95, within=0.5),
)  # fmt: skip
def clear_sky_at_one_air_mass():
    """Theirs is for an air mass of 1 at 10 degrees; here the sun is put where it is 1, and the cosine changed back."""
    results = []
    for zenith, altitude in ((0.0, 0.0), (38.381, 2000.0)):
        light = sky.clear_sky_at([zenith], 1364.0, 3.0, altitude)
        results += [light.ghi[0] * np.cos(np.radians(10.0)) / np.cos(np.radians(zenith)), light.dni[0]]
    return results


@checks(
    TOPIC, f"B. Haurwitz 1945, J. Meteorology 2, 154; values in {PVLIB_SKY}", READ,
    row("SOL-13a", "clear sky, sun 90 up: global", "W/m2", 1035.09, rel=0.04),
    row("SOL-13b", "clear sky, sun 30 up: global", "W/m2", 487.89, rel=0.04),
    row("SOL-13c", "clear sky, sun 10 up: global", "W/m2", 135.74, rel=0.04,
        why_missed="the sky of Haurwitz knows no haze, which takes most from a low sun; ours is that of turbidity 3"),
)  # fmt: skip
def clear_sky_beside_another():
    return sky.clear_sky_at([0.0, 60.0, 80.0], 1367.0, 3.0).ghi


@checks(
    TOPIC, f"P. Ineichen 2008, Solar Energy 82, 758-762 (simplified Solis); values in {PVLIB_SKY}", READ,
    row("SOL-16", "beam, sun 80 up, optical depth 0.1, water 1 cm", "W/m2", 959.34, rel=0.03),
)  # fmt: skip
def clear_sky_beside_one_with_aerosol():
    return sky.clear_sky_at([10.0], 1364.0, 3.0).dni
