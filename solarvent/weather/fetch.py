"""Fetching an hourly year of weather from the NASA POWER service: the only place that touches a network."""

from __future__ import annotations

import calendar
import threading
import time
from collections.abc import Callable
from datetime import date, timedelta, timezone
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.errors import Problem, WeatherError
from solarvent.weather.table_checks import check_weather, mend_offsets, to_the_middle

if TYPE_CHECKING:
    import pandas as pd

SERVICE = "the NASA POWER service"
FIRST_YEAR = 2001
"""The first year of which the service has the light of each hour."""
TIMEOUT = 120.0
WAITS = (3.0, 10.0)
"""Pauses before the second and the third attempt. [s]"""
_LONGEST_WORDS = 200
_STRANGE = ("its reply has another form than pvlib expects", "try again later, or with a newer pvlib")
#: Our column -> parameter of the service, the units that it may come in, factor to the unit inside.
_PARAMETERS = {
    "ghi": ("ALLSKY_SFC_SW_DWN", ("W/m^2", "Wh/m^2"), 1.0),
    "dni": ("ALLSKY_SFC_SW_DNI", ("W/m^2", "Wh/m^2"), 1.0),
    "dhi": ("ALLSKY_SFC_SW_DIFF", ("W/m^2", "Wh/m^2"), 1.0),
    "temp_air": ("T2M", ("C",), 1.0),
    "wind_speed": ("WS10M", ("m/s",), 1.0),
    "wind_direction": ("WD10M", ("Degrees",), 1.0),
    "relative_humidity": ("RH2M", ("%",), 1.0),
    "pressure": ("PS", ("kPa",), 1000.0),
}


def default_year(today: date) -> int:
    """Give the last year that the service is likely to have whole; it is some months behind with the light."""
    return today.year - (1 if today.month > 6 else 2)


def fetch_weather(
    latitude: float,
    longitude: float,
    year: int,
    *,
    url: str | None = None,
    timeout: float = TIMEOUT,
    tell: Callable[[str], None] = lambda words: None,
) -> pd.DataFrame:
    """Ask the NASA POWER service for a calendar year of hours, through pvlib.

    Parameters
    ----------
    latitude, longitude : float
        North and east positive; with the year they are all that is sent. [deg]
    year : int
        2001 or later.
    url : str, optional
        Another server that speaks as the service does; by default the address that pvlib knows.
    timeout : float
        For one attempt, whole reply included; there are at most three. [s]
    tell : callable, optional
        Called about once a second with words on how it goes.

    Returns
    -------
    pandas.DataFrame
        As from :func:`solarvent.weather.reading.read_weather`, at the whole hours of offset nearest to the sun, so that
        the year begins and ends some hours off midnight there; `total_cover` and `opaque_cover` are NaN.

    Raises
    ------
    WeatherError
        If the service cannot be reached, refuses, is too slow, or its reply is not a year of possible hours.

    Notes
    -----
    The values are means over a grid of about 1 degree for the light (satellite) and half a degree for the air
    (reanalysis): hills, coasts and the warmth of towns are smoothed away.
    """
    _check_asked(latitude, longitude, year)
    for attempt, wait in enumerate((*WAITS, None), start=1):
        try:
            raw, meta = _ask(latitude, longitude, year, url, timeout, tell, attempt)
            break
        except WeatherError as error:
            if wait is None:
                raise
            tell(f"{error.problems[0].what}; again in {wait:.0f} s")
            time.sleep(wait)
    try:
        table = _table(raw, meta, latitude, longitude, year)
    except (AttributeError, LookupError, TypeError, ValueError) as reason:
        if isinstance(reason, WeatherError):
            raise
        raise WeatherError.single(SERVICE, *_STRANGE) from None
    notes = mend_offsets(table)
    try:
        step = check_weather(table, np.arange(len(table)) + 1, SERVICE)
    except WeatherError as error:
        problems = (
            Problem(item.where.replace(" line ", ", hour "), item.what, "try another year") for item in error.problems
        )
        raise WeatherError(problems) from None
    to_the_middle(table, step, timezone(timedelta(hours=round(longitude / 15))))
    table.attrs["notes"] = tuple(notes)
    return table


def _check_asked(latitude: float, longitude: float, year: int) -> None:
    """Refuse what the service cannot have, before it is asked."""
    problems = []
    for name, value, limit in (("latitude", latitude, 90), ("longitude", longitude, 180)):
        if not abs(value) <= limit:
            problems.append(Problem(name, f"{value:g} is outside -{limit} to {limit}", "write degrees"))
    last = date.today().year - 1
    if not FIRST_YEAR <= year <= last:
        problems.append(
            Problem("year", f"{year} is outside {FIRST_YEAR} to {last}", "choose a whole year that is over")
        )
    if problems:
        raise WeatherError(problems)


def _ask(
    latitude: float, longitude: float, year: int, url: str | None, timeout: float, tell: Callable, attempt: int
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Make one attempt, in a thread of its own, for pvlib's request itself knows no end of waiting."""
    from pvlib import iotools

    answer: dict[str, Any] = {}
    where = {} if url is None else {"url": url}
    names = [name for name, _, _ in _PARAMETERS.values()]

    def work() -> None:
        try:
            answer["reply"] = iotools.get_nasa_power(
                latitude, longitude, f"{year}-01-01", f"{year}-12-31", names, map_variables=False, **where
            )
        except Exception as reason:
            answer["reason"] = reason

    # A thread that still waits must not keep the program from ending.
    thread = threading.Thread(target=work, daemon=True)
    start = time.monotonic()
    thread.start()
    while thread.is_alive() and (spent := time.monotonic() - start) < timeout:
        tell(f"waiting for {SERVICE}, {spent:.0f} s, try {attempt}")
        thread.join(min(1.0, timeout - spent))
    if "reply" in answer:
        return answer["reply"]
    if "reason" not in answer:
        raise WeatherError.single(
            SERVICE, f"no whole reply within {timeout:g} s", "try again later, or raise --timeout"
        )
    raise _in_plain_words(answer["reason"]) from None


def _in_plain_words(reason: Exception) -> WeatherError:
    """Say what went wrong with a request; the address of the server is left out."""
    import requests

    if isinstance(reason, requests.exceptions.JSONDecodeError):
        return WeatherError.single(SERVICE, "its reply cannot be read", "try again later")
    if isinstance(reason, requests.HTTPError):
        said = reason.args[0] if reason.args else ""
        words = said.get("messages") or said.get("message") or said.get("header") if isinstance(said, dict) else said
        text = "; ".join(map(str, words)) if isinstance(words, list) else str(words or "no reason given")
        return WeatherError.single(SERVICE, f"it refuses: {text[:_LONGEST_WORDS]}", "try again later")
    if isinstance(reason, requests.RequestException | OSError):
        return WeatherError.single(SERVICE, "it cannot be reached", "are you online? all else works without a network")
    return WeatherError.single(SERVICE, *_STRANGE)


def _table(raw: pd.DataFrame, meta: dict[str, Any], latitude: float, longitude: float, year: int) -> pd.DataFrame:
    """Turn the reply into our columns, stamped at the start of each hour; refuse another year or another unit."""
    import pandas as pd

    hours = 8784 if calendar.isleap(year) else 8760
    if len(raw) != hours or set(raw.index.year) != {year}:
        first, last = f"{raw.index[0]:%Y-%m-%d}", f"{raw.index[-1]:%Y-%m-%d}"
        what = f"{len(raw)} hours from {first} to {last} came, not the {hours} of {year}"
        raise WeatherError.single(SERVICE, what, "try another year")
    problems, columns = [], {}
    for name, (parameter, units, factor) in _PARAMETERS.items():
        unit = str(meta["parameters"].get(parameter, {}).get("units", "nothing"))
        if parameter not in raw.columns or unit not in units:
            problems.append(
                Problem(SERVICE, f"{name} came in {unit}, not in {units[0]}", "this version cannot use that")
            )
        else:
            columns[name] = pd.to_numeric(raw[parameter], errors="coerce").to_numpy(dtype=float) * factor
    if problems:
        raise WeatherError(problems)
    columns |= {"total_cover": np.nan, "opaque_cover": np.nan}
    table = pd.DataFrame(columns, index=raw.index)
    table.attrs = {
        "title": f"Year {year} at latitude {latitude:g}, longitude {longitude:g}",
        "source": f"NASA POWER, hourly, fetched through pvlib; grid means, not a station ({_made_of(meta)})",
        "latitude": float(latitude),
        "longitude": float(longitude),
        "altitude": float(meta["altitude"]),
        "stamp": "start",
    }
    return table


def _made_of(meta: dict[str, Any]) -> str:
    """Name the data that the service made the year of."""
    words = meta.get("sources") or []
    text = ", ".join(map(str, words)) if isinstance(words, list) else str(words)
    return "".join(letter for letter in text if letter.isprintable())[:80] or "its sources not named"
