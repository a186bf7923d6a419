"""The weather that is nearest to a place: of the files in a folder by distance, of the climates by latitude."""

from __future__ import annotations

import gzip
import re
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import asin, cos, isfinite, radians, sin, sqrt
from pathlib import Path

from solarvent.base.errors import WeatherError
from solarvent.plan.library import Library

EARTH_RADIUS = 6_371_008.8
"""Mean radius, IUGG 1980 (from memory). [m]"""
#: Enough for the place in the head of any kind of file. [bytes]
_HEAD = 4096
_TMY3_FIELDS, _EPW_FIELDS = 7, 10
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
    elif len(fields) == _TMY3_FIELDS:
        yield fields[4], fields[5]
    given = dict(line.lstrip("# ").split(":", 1) for line in lines if line.startswith("#") and ":" in line)
    yield given.get("latitude", ""), given.get("longitude", "")
