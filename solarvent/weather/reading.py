"""Hourly weather: a TMY3 or EPW file or our own plain CSV, the year that ships, and what is nearest to a place.

The plain CSV is UTF-8, may be gzipped, and reads::

    # title: Field station, summer 2023
    # source: own logger
    # latitude: 36.1
    # longitude: -79.95
    # altitude: 273
    # stamp: end
    time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC],wind_speed [m/s]
    2023-06-01T13:00-05:00,812,640,190,27.5,2.1

``stamp`` says whether the time is the start, the middle or the end of the interval. Air that was read at a moment, not
averaged, has ``# air: end`` (or start). A file of one row also needs ``# step: 60`` (minutes). The columns and their
units are in :data:`solarvent.weather.csv_file.COLUMNS`.
"""

from __future__ import annotations

import datetime
import gzip
import re
import zlib
import zoneinfo
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from math import asin, cos, isfinite, radians, sin, sqrt
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.errors import WeatherError
from solarvent.plan.library import Library, profiles
from solarvent.weather.csv_file import decode, read_csv, read_raw
from solarvent.weather.station_files import TMY3_FIELDS, read_epw, read_tmy3
from solarvent.weather.table_checks import (
    check_weather,
    mend_offsets,
    to_the_middle,
)

if TYPE_CHECKING:
    import pandas as pd


_AIR = ("temp_air", "relative_humidity", "pressure")
"""Columns that go smoothly from one reading to the next."""
_ALMOST_A_YEAR = 364 * 86_400.0


def read_weather(path: str | Path) -> pd.DataFrame:
    """Read a weather file: TMY3 (Wilcox & Marion 2008), EPW or the plain CSV described above, gzipped or not.

    Parameters
    ----------
    path : str or path-like
        The file.

    Returns
    -------
    pandas.DataFrame
        One row a step. The index holds the middle of each interval, with a fixed offset from UTC. Columns:
        `ghi`, `dni`, `dhi` [W/m2], `temp_air` [degC], `wind_speed` [m/s], `wind_direction` [deg from north],
        `relative_humidity` [%], `pressure` [Pa], `total_cover`, `opaque_cover` [oktas, 0-8]; NaN in the last six where
        the file has nothing. `attrs` holds `title`, `source`, `latitude` [deg], `longitude` [deg], `altitude` [m],
        `step` [s] and `notes` (what was mended on reading, sentences).

    Raises
    ------
    WeatherError
        With every mistake that was found, the line of each and what to write.

    Notes
    -----
    Irradiance outside the physically possible limits of the Baseline Surface Radiation Network (Long & Dutton 2002) is
    refused; values from -4 to 0 W/m2, the night offset of a thermal sensor in those limits, become 0 and are noted.
    Air of a TMY3 or EPW file is observed at the end of the hour: here temperature, humidity and pressure are half way
    between two such moments; wind and cloud stand as they were observed.
    """
    return _parse(read_raw(path), Path(path).name)


@cache
def _embedded() -> pd.DataFrame:
    """The shipped year, read once."""
    return _parse((profiles() / "weather" / "tmy3_723170.csv.gz").read_bytes(), "tmy3_723170.csv.gz")


def embedded_weather() -> pd.DataFrame:
    """Read the typical year that ships with the package: TMY3 station 723170, latitude 36.1, longitude -79.95.

    It is a copy of 8760 rows, as from `read_weather`.

    Examples
    --------
    >>> weather = embedded_weather()
    >>> len(weather), str(weather.index[0])
    (8760, '2023-01-01 00:30:00-05:00')
    """
    weather = _embedded()
    copy = weather.copy()
    copy.attrs = dict(weather.attrs)
    return copy


def _parse(raw: bytes, where: str) -> pd.DataFrame:
    """Turn the content of a file into a checked table."""
    text = decode(raw, where)
    if not text.strip():
        raise WeatherError.single(where, "the file is empty", "give a TMY3, EPW or CSV file")
    first, _, rest = text.partition("\n")
    if rest.startswith("Date (MM/DD/YYYY)"):
        table, lines = read_tmy3(text, where)
    elif first.startswith("LOCATION,"):
        table, lines = read_epw(text, where)
    else:
        table, lines = read_csv(text, where)
    notes = [*table.attrs.pop("notes", ()), *mend_offsets(table)]
    step = check_weather(table, lines, where)
    # Only here, so that every message shows the file's own stamps.
    to_the_middle(table, step, _named_zone(table.index.tz))
    _air_of_the_interval(table, table.attrs.pop("air"), step)
    table.attrs["notes"] = tuple(notes)
    return table


def _air_of_the_interval(table: pd.DataFrame, read_at: str, step: float) -> None:
    """Carry air that was read at one end of each interval to its middle, half way to the neighbour that ends there."""
    if read_at == "middle":
        return
    back = 1 if read_at == "end" else -1
    for name in _AIR:
        values = table[name].to_numpy()
        neighbour = np.roll(values, back)
        if len(table) * step < _ALMOST_A_YEAR:
            # A typical year begins where it ends; a shorter span has nothing before its first hour.
            neighbour[0 if back > 0 else -1] = np.nan
        table[name] = np.where(np.isnan(neighbour), values, (values + neighbour) / 2)


def _named_zone(zone: datetime.tzinfo) -> datetime.tzinfo:
    """The same fixed offset under a name that pvlib's Location accepts; half hours have none."""
    offset = zone.utcoffset(None) or datetime.timedelta()
    hours = offset / datetime.timedelta(hours=1)
    try:
        # By the old convention of these names Etc/GMT+5 lies west of Greenwich.
        return zoneinfo.ZoneInfo(f"Etc/GMT{-int(hours):+d}" if hours else "UTC") if hours == int(hours) else zone
    except zoneinfo.ZoneInfoNotFoundError:
        return zone


EARTH_RADIUS = 6_371_008.8
"""Mean radius, IUGG 1980 (from memory). [m]"""
#: Enough for the place in the head of any kind of file. [bytes]
_HEAD = 4096
_EPW_FIELDS = 10
_ENDINGS = (".epw", ".csv", ".tmy3", ".gz")


def distance(latitude: float, longitude: float, other_latitude: float, other_longitude: float) -> float:
    """Distance of two places over a round earth, by the haversine formula. [m]

    Examples
    --------
    >>> round(distance(0.0, 0.0, 0.0, 90.0) / 1000)
    10008
    """
    north, other_north = radians(latitude), radians(other_latitude)
    east = radians(other_longitude - longitude)
    half = sin((other_north - north) / 2) ** 2 + cos(north) * cos(other_north) * sin(east / 2) ** 2
    return 2 * EARTH_RADIUS * asin(min(sqrt(half), 1.0))


@dataclass(frozen=True)
class Station:
    """Where the hours of a weather file were taken. [deg]"""

    path: Path
    latitude: float
    longitude: float


def stations(folder: Path) -> list[Station]:
    """Find the weather files of a folder by their heads: EPW, TMY3 and the plain CSV, gzipped or not, by name.

    Raises
    ------
    WeatherError
        If there is no such folder, or no weather file that tells its place in it.
    """
    try:
        files = sorted(path for path in folder.iterdir() if path.suffix.lower() in _ENDINGS and path.is_file())
    except (OSError, ValueError):
        raise WeatherError.single(str(folder), "this is not a folder", "name one with weather files in it") from None
    found = [Station(path.resolve(), *place) for path in files if (place := _place_of(path)) is not None]
    if not found:
        what = "no weather file in it tells its place"
        raise WeatherError.single(str(folder), what, "put EPW, TMY3 or CSV files there; see: solarvent weather fetch")
    return found


def nearest_station(known: Sequence[Station], latitude: float, longitude: float) -> tuple[Station, float]:
    """Give the nearest file and its distance [m]; of equals the first by name."""
    away = [distance(latitude, longitude, one.latitude, one.longitude) for one in known]
    least = min(range(len(known)), key=away.__getitem__)
    return known[least], away[least]


def nearest_climate(library: Library, latitude: float) -> str:
    """Give the kind of place whose distance from the equator is nearest; of equals one of the same hemisphere.

    Latitude alone does not know coast from inland: whoever is given the climate must be told how it was chosen.

    Examples
    --------
    >>> nearest_climate(Library(), 53.0), nearest_climate(Library(), -37.9)
    ('cool-maritime', 'southern-temperate-oceanic')
    """
    known = {
        name: float(entry["latitude"]) for name, entry in library.entries("climates").items() if "latitude" in entry
    }
    return min(known, key=lambda name: (abs(abs(known[name]) - abs(latitude)), known[name] * latitude < 0, name))


def _place_of(path: Path) -> tuple[float, float] | None:
    """Latitude and longitude [deg] from the head of a weather file; None if it tells none."""
    try:
        with gzip.open(path) if path.suffix.lower() == ".gz" else path.open("rb") as file:
            head = file.read(_HEAD).decode("utf-8-sig", errors="replace")
    except (OSError, EOFError, zlib.error):
        return None
    for words in _said(re.split(r"\r\n|\r|\n", head)):
        try:
            latitude, longitude = (float(word) for word in words)
        except ValueError:
            continue
        if isfinite(latitude) and isfinite(longitude) and abs(latitude) <= 90 and abs(longitude) <= 180:
            return latitude, longitude
    return None


def _said(lines: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Latitude and longitude in words, as each kind of file has them."""
    fields = lines[0].split(",")
    if fields[0] == "LOCATION" and len(fields) >= _EPW_FIELDS:
        yield fields[6], fields[7]
    elif len(fields) == TMY3_FIELDS:
        yield fields[4], fields[5]
    given = dict(line.lstrip("# ").split(":", 1) for line in lines if line.startswith("#") and ":" in line)
    yield given.get("latitude", ""), given.get("longitude", "")
