"""A sky of broken cloud, against light that was measured by the minute, and fans under that light."""

from __future__ import annotations

import minutes
from reference_table import LIBRARY, WHOLE, checks, row

from solarvent.weather import sky_states

TOPIC = "Cloud and weather"
PAYERNE = "one-minute data of Payerne, June 2016 (Baseline Surface Radiation Network)"
OTHERS = "12 days at five stations of the United States, by one and five minutes (SURFRAD, MIDC, SRML)"
THIRDS = ("brightest", "middle", "dullest")
MEASURED = (0.489, 0.062, 0.012, 0.891, 0.498, 0.120, 0.989, 0.906, 0.494)


@checks(
    TOPIC, PAYERNE, LIBRARY,
    *(
        row(f"SKY-{place + 1}", f"beam in the {THIRDS[place % 3]} third of an hour with"
            f" {minutes.SPREAD[place // 3][0]:g} to {minutes.SPREAD[place // 3][1]:g} of a clear sky's", "-",
            beam, within=0.05)
        for place, beam in enumerate(MEASURED)
    ),
)  # fmt: skip
def beam_of_the_thirds():
    mean, _, _ = minutes.thirds_of_payerne()
    return minutes.by_spread(mean, sky_states.beam_in_thirds(mean).T).tolist()


PAIRS = (
    ("fan-12v-120x25", "panel-10w", 35, 200),
    ("fan-12v-120x25", "panel-50w", 35, 200),
    ("fan-12v-120x38", "panel-10w", 0, 180),
    ("fan-12v-120x38", "panel-30w", 60, 260),
    ("fan-24v-120x25", "panel-5w", 35, 200),
    ("fan-12v-172x51", "panel-50w", 0, 180),
)
# Minute by minute, by tests/helpers/minutes.compared: share of the light hours in which the fan turns, and air [m3].
MONTH = ((0.345, 17710), (0.723, 46538), (0.255, 17864), (0.465, 41998), (0.345, 11145), (0.323, 57793))
OTHER_DAYS = ((0.544, 6563), (0.754, 10368), (0.152, 1789), (0.444, 9661), (0.542, 3721), (0.113, 4217))
THIN = (
    "four hours of a thin even cloud (Golden, 3 January 2022: 0.3 to 0.7 of the beam, and steady) count as broken;"
    " without Golden in January the air is within 5 %"
)


def _by_hour(names: tuple[str, ...]) -> list[float]:
    """Share of the light hours in which fans turn, and air moved, from the hourly means, for every pair."""
    return [by_hour for pair in PAIRS for _, by_hour in minutes.compared(names, *pair)]


def _fan_rows(letter: str, by_minute: tuple[tuple[float, int], ...], missed: str = "") -> list:
    rows = []
    for number, ((fan, panel, tilt, azimuth), (share, air)) in enumerate(zip(PAIRS, by_minute, strict=True), start=1):
        pair = f"{fan} on {panel}, tilt {tilt}, facing {azimuth}"
        rows.append(row(f"SKY-{letter}{number}a", f"share of the light hours turning: {pair}", "-", share, within=0.05))
        reason = missed if pair.startswith("fan-12v-172x51") else ""
        rows.append(row(f"SKY-{letter}{number}b", f"air moved: {pair}", "m3", air, rel=0.10, why_missed=reason))
    return rows


@checks(
    TOPIC, f"{PAYERNE}: measured light; the program's own fans minute by minute and by the hour", LIBRARY,
    *_fan_rows("P", MONTH), kind=WHOLE,
)  # fmt: skip
def fans_of_a_month():
    return _by_hour(("payerne",))


@checks(
    TOPIC, f"{OTHERS}: measured light; the program's own fans minute by minute and by the hour", LIBRARY,
    *_fan_rows("O", OTHER_DAYS, THIN), kind=WHOLE,
)  # fmt: skip
def fans_of_other_days():
    return _by_hour(minutes.OTHERS)
