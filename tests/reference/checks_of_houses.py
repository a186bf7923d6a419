"""Houses that somebody measured: inputs written down before the first run (tests/data/measured_houses.toml)."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from reference_table import READ, WHOLE, WORKED_FROM, checks, row

from solarvent.house.air_need import sunny_house
from solarvent.house.envelope import inside_film, outside_film, u_value_in_wind

# The script that writes the table runs without the settings of pytest.
sys.path.append(str(Path(__file__).parents[1] / "helpers"))
from measured import measured_hours, measured_plan, measured_run

TOPIC = "Measured houses"
SKIEN = "public data set DrivhusModelling: school greenhouse, 15 m2 of concrete, 42 m2 of plastic, Norway, spring 2025"
TUNNEL = "public readings of a hobby film tunnel, United Kingdom, 26-27 February 2022; size assumed"
FARM = "public data of a measuring campaign, community farm, Netherlands 2026: 40 x 16 m; cover and planting assumed"


@cache
def skien() -> pd.DataFrame:
    """Measured and modelled rise over outside, and inside, hour by hour from the fourth day on."""
    hours, run = measured_hours("skien"), measured_run("skien")
    inside = run.case("closed")
    table = {"read": hours["inside"] - hours["outside"], "rise": inside - hours["outside"], "hot": hours["inside"]}
    return pd.DataFrame(table | {"inside": inside}).iloc[72:]


def nights(*days: str) -> pd.Series:
    """Mean of the hours 0 to 3 of some nights."""
    table = skien()
    early = table[table.index.hour < 3]
    by_night = early.groupby(early.index.strftime("%Y-%m-%d")).mean()
    return by_night.loc[list(days)].mean() if days else by_night.median()


_CLEAR = ("2025-04-03", "2025-04-05", "2025-04-06")
_CLOUDY = ("2025-04-16", "2025-04-17", "2025-04-18")


@checks(
    TOPIC, SKIEN, WORKED_FROM,
    row("C3", "nights over outside, 0-3 h, median of 40", "K", 2.1, within=1),
    row("C3b", "the same, clear nights of 3, 5 and 6 April", "K", 4.46, within=1),
    row("C3c", "the same, cloudy nights of 16 to 18 April", "K", 1.13, within=0.7),
    row("C4", "a whole overcast day, 0-16 h, over outside", "K", 1.66, within=0.7),
    row("C5", "hottest hour of four clear days, mean", "degC", 40.7, within=4,
        why_missed="on boards in place of concrete the model has 39, and is then 2 K too cold by night: what heats the"
        " thermometer by day is not what the floor gives back; nobody says that it hung in the shade"),
    kind=WHOLE,
)  # fmt: skip
def a_school_greenhouse_on_concrete():
    overcast = skien().loc["2025-04-16"].iloc[:16]
    days = skien()["inside"].groupby(skien().index.strftime("%Y-%m-%d")).max()
    clear = days.loc[["2025-04-03", "2025-04-06", "2025-04-12"]].to_list()
    early = measured_run("skien").case("closed")[:72].reshape(-1, 24).max(axis=1)
    return [nights()["rise"], nights(*_CLEAR)["rise"], nights(*_CLOUDY)["rise"], overcast["rise"].mean(),
            np.mean([*clear, early[2]])]  # fmt: skip


@checks(
    TOPIC, TUNNEL, READ,
    row("C7", "hottest hour over outside, first day", "K", 18.0, within=3),
    row("C7b", "the same, second day", "K", 21.2, within=3,
        why_missed="the first day, with the same sun, was 3 K cooler; tight the model has 18.7"),
    row("C7c", "clear night, 0-6 h, over outside", "K", -1.46, within=1.5),
    row("C7d", "the hour after sunset over outside", "K", -0.9, within=1.5,
        why_missed="dry film passes heat radiation until it is wet; by the model's own dew it is wet all evening;"
        " where less than 2 g/(m2 h) of dew counts as dry and 0.3 is let through, it has 0.3, and the clear nights of"
        " C3b fall to 2.9"),
    kind=WHOLE,
)  # fmt: skip
def a_film_tunnel_in_february():
    run = measured_run("film-tunnel")
    rise = run.case("closed") - run.model.temp_air
    return [rise[:24].max(), rise[24:].max(), rise[24:31].mean(), rise[18]]


@checks(
    TOPIC, FARM, READ,
    row("C10", "clear still night in March, 2 h, over outside", "K", 2.8, within=1),
    row("C10b", "the same, 5:20 h, coldest", "K", 2.9, within=0.8,
        why_missed="in air of 95 % humidity, as a still night has it, in place of the 85 assumed the model has 2.4;"
        " under a sky 30 % less cold, as haze and houses around leave it, 3.1"),
    row("C10c", "clear day, shut, 13 h, over outside", "K", 12.2, within=3,
        why_missed="nobody says what grew there: full of leaf the model has 16, empty 27; leaky 16.5"),
    kind=WHOLE,
)  # fmt: skip
def a_wide_house_on_a_clear_day_in_march():
    """The second night reading was taken at -1.7 outside, which the inputs have at 5 h, between two hours."""
    run = measured_run("wide-house")
    rise = (run.case("closed") - run.model.temp_air)[-24:]
    return [rise[2], rise[4:6].mean(), rise[13]]


@checks(
    TOPIC, "Flynn, Flynn, McCamant 2009, Minnesota: empty film tunnel in April, night low equals outside", READ,
    row("C13", "inside at night, outside 0 degC, in kelvin", "K", 273.15, within=1.5),
    kind=WHOLE,
)  # fmt: skip
def an_empty_tunnel_in_april():
    run = measured_run("empty-tunnel")
    return [273.15 + (run.case("closed") - run.model.temp_air)[-24:].min()]


@checks(
    TOPIC, "a grower's log: film tunnel on a clear day of January, -7 degC outside: a rise of 34 K", READ,
    row("C15", "rise of a shut tunnel in winter sun, at the most", "K", 34, within=4,
        why_missed="one reading of a thermometer; floor, layers, place and snow are not told: with snow around the"
        " model has 25, on a floor that stores as little as boards 30, with both 31; boards under two films 35"),
    kind=WHOLE,
)  # fmt: skip
def a_tunnel_in_winter_sun():
    run = measured_run("cold-day-tunnel")
    return [(run.case("closed") - run.model.temp_air)[-24:].max()]


@checks(
    TOPIC, f"{FARM}; fit of summer days, mixed vegetables: 36 W/m2 as vapour beside 62 as warm air", WORKED_FROM,
    row("E1", "vapour's share of the heat that the air carries off", "-", 0.36, rel=0.15),
    kind=WHOLE,
)  # fmt: skip
def vapour_of_a_planted_house():
    """Half planted, 280 W/m2 outside (30 klux), 22 degC, a rise of 4.5 K."""
    house = sunny_house(measured_plan("wide-house"))
    sun, rise = 280.0 / house.ghi, 4.5
    vapour = (house.gain - house.sensible(22.0 + rise)) * sun
    warm = house.sensible(22.0 + rise) * sun + house.conductance * (house.warmed * sun - rise)
    return [vapour / (vapour + warm)]


@checks(
    TOPIC, f"{SKIEN}; U of the film fitted day by day, 2.9-4.6", WORKED_FROM,
    row("U8", "U of single film on a small house, light wind", "W/m2K", 3.7, rel=0.2),
)  # fmt: skip
def u_of_a_small_film_house():
    return [u_value_in_wind(6.5, sum(outside_film(1.0, 5.0)), inside_film(15.0, 42.0))]
