"""Light by the minute: how it is shared out within an hour, and fans under it against fans under its hourly means.

The form was chosen on the odd days of June 2016 at Payerne. What is held here are its even days, the whole month, and
days of other stations.
"""

import minutes
import numpy as np
import pytest
from sampled import one_in

from solarvent.simulation.worst_case import CLEAR
from solarvent.weather import sky, sun
from solarvent.weather.sky_states import beam_in_thirds

FANS = ("fan-12v-120x25", "fan-12v-120x38", "fan-24v-120x25")
PANELS = ("panel-5w", "panel-10w", "panel-20w", "panel-30w", "panel-50w")
LEVEL = ("fan-12v-172x51", "panel-50w", 0, 180)
MONTH = [(fan, panel, 35, 200) for fan in FANS for panel in PANELS] + [
    LEVEL,
    ("fan-12v-120x25-held", "panel-20w", 60, 260),
    ("fan-12v-inline-4in-brushed", "panel-50w", 35, 200),
]
RARE = 0.1
"""Of a fan that turns less the air is a matter of a few hours. [-]"""


def even(day):
    return day % 2 == 0


def test_the_sorted_minutes_of_an_hour_lie_on_the_curves():
    mean, beam, diffuse = minutes.thirds_of_payerne()
    measured = minutes.by_spread(mean, beam)
    np.testing.assert_allclose(measured, minutes.by_spread(mean, beam_in_thirds(np.clip(mean, 0, 1)).T), atol=0.05)
    # Diffuse light is nearly even over the hour: within a fifth in any third, within a tenth on average.
    spread = np.abs(minutes.by_spread(mean, diffuse) - 1)
    assert spread.max() < 0.21
    assert spread.mean() < 0.10


@pytest.mark.parametrize("pair", MONTH, ids=str)
def test_hours_turn_a_fan_as_long_as_minutes_do(pair):
    (by_minute, by_hour), (air, air_by_hour) = minutes.compared(("payerne",), *pair)
    assert by_hour == pytest.approx(by_minute, abs=0.05)
    if by_minute > RARE:
        assert air_by_hour == pytest.approx(air, rel=0.10)


@pytest.mark.parametrize("pair", MONTH[:15], ids=str)
def test_on_days_that_were_kept_back(pair):
    (by_minute, by_hour), (air, air_by_hour) = minutes.compared(("payerne",), *pair, days=even)
    assert by_hour == pytest.approx(by_minute, abs=0.05)
    if by_minute > RARE:
        assert air_by_hour == pytest.approx(air, rel=0.10)


@pytest.mark.parametrize("pair", one_in(3, [pair for pair in MONTH if pair != LEVEL]), ids=str)
def test_at_other_stations(pair):
    # Twelve days, three of them under an even cover: a third of the month's hours, so the air may stray further.
    (by_minute, by_hour), (air, air_by_hour) = minutes.compared(minutes.OTHERS, *pair)
    assert by_hour == pytest.approx(by_minute, abs=0.05)
    if by_minute > RARE:
        assert air_by_hour == pytest.approx(air, rel=0.15)


def test_a_thin_even_cloud_is_taken_for_a_broken_one():
    # Golden, 3 January 2022, noon to four: the beam has 0.3 to 0.7 of a clear sky's and hardly stirs. Without this day
    # the fan that misses at the other stations is within 5 %.
    rest = tuple(name for name in minutes.OTHERS if name != "golden-2022")
    (by_minute, by_hour), (air, air_by_hour) = minutes.compared(rest, *LEVEL)
    assert by_hour == pytest.approx(by_minute, abs=0.01)
    assert air_by_hour == pytest.approx(air, rel=0.05)
    table = minutes.station("golden-2022")
    day = table[(table.index > "2022-01-03 18:00Z") & (table.index < "2022-01-03 19:00Z")]
    assert day["ghi"].std() < 0.1 * day["ghi"].mean()
    (by_minute, by_hour), _ = minutes.compared(("golden-2022",), *LEVEL)
    assert by_minute == 0.0
    assert by_hour > 0.08


@pytest.mark.parametrize("name", ["payerne", *minutes.OTHERS])
def test_clear_light_facing_the_sun_grows_with_height_as_measured(name):
    table = minutes.station(name)
    zenith = sun.solar_position(table.index, *(table.attrs[at] for at in ("latitude", "longitude", "altitude"))).zenith
    up = np.cos(np.radians(zenith))
    facing = (table["dni"] + table["dhi"] * (1 + up) / 2 + 0.2 * table["ghi"] * (1 - up) / 2).to_numpy()
    clear = (table["dni"] > 850) & (table["dhi"] < 110) & (zenith < 78)
    if not clear.any():
        assert name == "eugene"
        return
    # Alamosa, 2317 m: 1150 W/m2; Edinburg, 45 m: 1050 W/m2. The brightest clear tenth, whatever the season.
    measured = np.quantile(facing[clear], 0.9)
    assert measured == pytest.approx(CLEAR * sky.height_factor(table.attrs["altitude"]), rel=0.06)
    # The edge of a cloud, for a minute: 1.45 times at Payerne in this month.
    assert facing[zenith < 78].max() < sky.CLOUD_EDGE[1] * CLEAR * sky.height_factor(table.attrs["altitude"])
