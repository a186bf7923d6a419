"""The tables of a study of many places: what each row changes in the plan, and the weather of each place."""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite, nan
from pathlib import Path
from typing import Any

from solarvent.base.errors import PlanError, Problem, QuantityError, SolarventError, nearest
from solarvent.base.quantities import parse
from solarvent.plan.plan import Plan
from solarvent.weather.reading import Station, distance, nearest_climate, nearest_station

#: Columns that are no place of the plan file.
PLACE_COLUMNS = ("id", "latitude", "longitude", "climate", "weather_file")
DESIGN_COLUMNS = ("id", "watts")
REACH = 100_000.0
"""How far a station, or the plan's own place, may be for its weather to be taken: one degree, as for `run`. [m]"""
_LONGEST = 200
_Told = dict[str, Any]
Source = str | Path | Any
"""A CSV file, a pandas table, or mappings of column to value, one a row."""


@dataclass(frozen=True)
class DesignRow:
    """A design: what it changes in the plan, by place in the file, and the watts of its first panel if given [W]."""

    id: str
    changes: Mapping[str, Any] = field(default_factory=dict)
    watts: float | None = None


@dataclass(frozen=True)
class PlaceRow:
    """A place: what it changes in the plan, by place in the file, or what is wrong with its row.

    `weather` and `clock` say in words what was taken, `weather_by` how it was chosen (``"named"``, ``"nearest file"``,
    ``"plan"``, ``"latitude"``), `weather_distance` how far that is [m], NaN where it has no place.
    """

    line: int
    id: str
    latitude: float = nan
    longitude: float = nan
    changes: Mapping[str, Any] = field(default_factory=dict)
    weather: str = ""
    weather_by: str = ""
    weather_distance: float = nan
    clock: str = ""
    problems: tuple[Problem, ...] = ()


def read_designs(source: Source, plan: Plan) -> list[DesignRow]:
    """Read the table of designs: an id, the watts of the first panel if wanted, and fields of the plan.

    Raises
    ------
    PlanError
        With every mistake, each with its row: a design stands for all places, so none is left out.
    """
    where, lines = _rows(source, "designs")
    names, problems = _columns(lines[0], plan, DESIGN_COLUMNS, where)
    designs: list[DesignRow] = []
    for number, cells in lines[1:]:
        row, mistakes = _read_row(cells, names)
        words = _row_words(where, number, row.get("id", ""))
        mistakes += _id_mistakes(row, {one.id for one in designs})
        watts = None
        if (given := row.pop("watts", None)) is not None:
            try:
                watts = float(given) if isinstance(given, int | float) else parse(given, "power")
            except QuantityError as error:
                mistakes += [Problem("watts", item.what, item.write) for item in error.problems]
            if watts is not None and not 0.5 <= watts <= 1000:
                mistakes.append(Problem("watts", f"{watts:g} W is out of range", "from 0.5 W to 1000 W"))
        name = str(row.pop("id", ""))
        if not mistakes:
            mistakes += _plan_mistakes(plan, row)
        problems += [_in_row(words, one) for one in mistakes]
        designs.append(DesignRow(name, row, watts))
    if problems:
        raise PlanError(problems)
    return designs


def read_places(
    source: Source,
    plan: Plan,
    known: Sequence[Station] | None = None,
    reach: float = REACH,
    taken: Iterable[str] = (),
) -> list[PlaceRow]:
    """Read the table of places: id, latitude, longitude, climate or weather file, and fields of the plan.

    In a file a value stands as in a plan, without its quotes: ``3.1 m``, ``35``, ``twin-wall-4mm``. What a row does not
    say stays as in the plan; `taken` are fields that the designs set already. `known` are weather files to choose from,
    within a reach [m]; without them, the plan's own weather serves near its own place, else a climate. A row with
    mistakes holds them, and stays; PlanError if the table as a whole cannot be read.
    """
    where, lines = _rows(source, "places")
    names, problems = _columns(lines[0], plan, PLACE_COLUMNS, where)
    for name in ("id", "latitude", "longitude"):
        if name not in [column for column, _ in names]:
            problems.append(Problem(f"{where} row {lines[0][0]}", f"the column {name} is missing", "add it"))
    for name, _ in names:
        if name in taken and name != "id":
            problems.append(Problem(f"{where}: {name}", "the designs set this too", "keep it in one of the tables"))
    if problems:
        raise PlanError(problems)
    if len(lines) == 1:
        raise PlanError.single(where, "there are no rows under the header", "write a place a row")
    reader = _PlaceReader(plan, known, reach, Path(where).parent if isinstance(source, str | Path) else Path())
    places: list[PlaceRow] = []
    ids: set[str] = set()
    for number, cells in lines[1:]:
        places.append(reader.place(number, *_read_row(cells, names), ids))
        ids.add(places[-1].id)
    return places


@dataclass(frozen=True)
class _PlaceReader:
    """Makes places of their cells; `folder` is where the paths of weather files begin."""

    plan: Plan
    known: Sequence[Station] | None
    reach: float
    folder: Path

    def place(self, number: int, row: dict[str, Any], mistakes: list[Problem], ids: set[str]) -> PlaceRow:
        """Read one place; what is wrong with it is told at once."""
        mistakes = [*mistakes, *_id_mistakes(row, ids)]
        name = str(row.pop("id", ""))
        latitude, longitude = (
            _degrees(row, key, most, mistakes) for key, most in (("latitude", 90), ("longitude", 180))
        )
        climate, file = row.pop("climate", None), row.pop("weather_file", None)
        if climate is not None and file is not None:
            mistakes.append(Problem("climate", "a climate and a weather file are both given", "keep one of them"))
        place = PlaceRow(number, name, latitude, longitude)
        if mistakes:
            named = {} if climate is None else {"weather": {"climate": climate}}
            return replace(place, problems=(*mistakes, *_plan_mistakes(self.plan, row | named)))
        changes = {"place.latitude": latitude, "place.longitude": longitude, **row}
        try:
            weather, told = self._weather(latitude, longitude, climate, file)
            # Hours of need by the clock of another continent would be those of its night.
            own_clock = {"clock", "place.timezone"} & row.keys()
            if not own_clock and self.plan.record.clock == "local" and self.plan.record.place.clock_is_far(longitude):
                changes["clock"] = "solar"
            placed = self.plan.with_(changes | weather).record
        except SolarventError as error:
            return replace(place, problems=error.problems)
        clock = "solar" if placed.clock == "solar" else placed.place.timezone
        return replace(place, changes=changes | weather, clock=clock, **told)

    def _weather(self, latitude: float, longitude: float, climate: Any, file: Any) -> tuple[dict[str, Any], _Told]:
        """Choose the weather of a place: what to change in the plan, and how to tell it."""
        if climate is not None:
            return {"weather": {"climate": climate}}, {"weather": f"climate {climate}", "weather_by": "named"}
        if file is not None:
            path = (self.folder / str(file)).resolve()
            if not path.is_file():
                what, write = f'there is no file "{file}"', "its path begins at the folder of the table"
                raise PlanError.single("weather_file", what, write)
            return {"weather": {"file": str(path)}}, {"weather": path.name, "weather_by": "named"}
        if self.known is not None:
            station, away = nearest_station(self.known, latitude, longitude)
            if away > self.reach:
                near = f"{station.path.name} is {away / 1000:.0f} km away"
                what = f"no weather file within {self.reach / 1000:g} km; {near}"
                raise PlanError.single("", what, "add a file, name a climate in the row, or look further with --within")
            told = {"weather": station.path.name, "weather_by": "nearest file", "weather_distance": away}
            return {"weather": {"file": str(station.path)}}, told
        own, place = self.plan.record.weather, self.plan.record.place
        away = distance(latitude, longitude, place.latitude, place.longitude)
        if own.clear_sky:
            return {}, {"weather": "clear sky", "weather_by": "plan"}
        if away <= self.reach:
            words = f"climate {own.climate}" if own.climate else own.file or own.embedded or "normals of the plan"
            return {}, {"weather": words, "weather_by": "plan", "weather_distance": away}
        name = nearest_climate(self.plan.library, latitude)
        return {"weather": {"climate": name}}, {"weather": f"climate {name}", "weather_by": "latitude"}


def _degrees(row: dict[str, Any], key: str, most: int, mistakes: list[Problem]) -> float:
    """Take a latitude or a longitude out of a row; NaN, and a mistake more, if it is none. [deg]"""
    value = row.pop(key, None)
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= most:
        return float(value)
    what = "this is missing" if value is None else f'"{str(value)[:40]}" is no {key}'
    mistakes.append(Problem(key, what, f"write degrees, from -{most} to {most}, like 51.5"))
    return nan


def _plan_mistakes(plan: Plan, changes: Mapping[str, Any]) -> list[Problem]:
    """What the plan itself says to the changes of a row."""
    try:
        plan.with_(changes)
    except SolarventError as error:
        return list(error.problems)
    return []


def _id_mistakes(row: Mapping[str, Any], ids: Iterable[str]) -> list[Problem]:
    name = str(row.get("id", ""))
    if not name:
        return [Problem("id", "this is missing", "give each row an id of its own")]
    return [Problem("id", "another row has the same", "give each row an id of its own")] if name in ids else []


def _in_row(words: str, problem: Problem) -> Problem:
    """A mistake with the row in which it stands."""
    return Problem(f"{words}: {problem.where}" if problem.where else words, problem.what, problem.write)


def _row_words(where: str, number: int, name: Any) -> str:
    """Say where a row stands."""
    return f'{where} row {number} "{str(name)[:40]}"' if name else f"{where} row {number}"


def _rows(source: Source, what: str) -> tuple[str, list[tuple[int, list[Any]]]]:
    """The name of a table, and its rows as lists with their numbers, the header first."""
    if isinstance(source, str | Path):
        return str(source), _file_rows(Path(source))
    records = source.to_dict("records") if hasattr(source, "to_dict") else [dict(row) for row in source]
    names = list(dict.fromkeys(name for row in records for name in row))
    missing = [(number, [row.get(name) for name in names]) for number, row in enumerate(records, start=1)]
    return what, [(0, names), *missing]


def _file_rows(path: Path) -> list[tuple[int, list[Any]]]:
    """The rows of a CSV file; lines that begin with # and empty ones are left out."""
    where = str(path)
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file, skipinitialspace=True)
            rows: list[tuple[int, list[Any]]] = [
                (reader.line_num, cells) for cells in reader if any(cells) and not cells[0].startswith("#")
            ]
    except FileNotFoundError:
        raise PlanError.single(where, "there is no such file", "check the path") from None
    except UnicodeDecodeError:
        raise PlanError.single(where, "the text is not UTF-8", "save the file as UTF-8") from None
    except csv.Error as error:
        raise PlanError.single(where, f"this is no CSV: {error}", "save it as CSV with commas") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PlanError.single(where, "the file cannot be read", reason) from None
    if not rows:
        raise PlanError.single(where, "the file is empty", "begin it with a header: id,latitude,longitude")
    header = rows[0][1]
    if len(header) == 1 and re.search(r"[;\t]", header[0]):
        raise PlanError.single(where, "the fields are not parted by commas", "save it as CSV with commas")
    return rows


def _columns(
    header: tuple[int, list[Any]], plan: Plan, own: Sequence[str], where: str
) -> tuple[list[tuple[str, str]], list[Problem]]:
    """Name and unit of each column, and what is wrong with them."""
    number, labels = header
    place = f"{where} row {number}" if number else where
    names: list[tuple[str, str]] = []
    problems: list[Problem] = []
    for label in labels:
        name, _, unit = (part.strip(" ]") for part in str(label).partition("["))
        if name in [known for known, _ in names]:
            problems.append(Problem(place, f'"{name[:60]}" stands twice', "keep one"))
        elif name.split(".")[0] == "weather" and name not in own:
            problems.append(Problem(place, f'"{name[:60]}" cannot be set here', 'use "climate" or "weather_file"'))
        elif name not in own and (unknown := plan.unknown_place(name)):
            write = nearest(name, own) if "." not in name else ""
            write = write if write.startswith("did you") else unknown.write
            problems.append(Problem(place, f'no column and no field of a plan is called "{name[:60]}"', write))
        names.append((name, unit))
    return names, problems


def _read_row(cells: Sequence[Any], names: Sequence[tuple[str, str]]) -> tuple[dict[str, Any], list[Problem]]:
    """The values of a row by column; an empty cell is none."""
    if len(cells) != len(names):
        what = f"{len(cells)} values for {len(names)} columns"
        return {"id": str(cells[0])}, [Problem("", what, "one value a column; quote one with a comma")]
    row: dict[str, Any] = {}
    problems = []
    for (name, unit), cell in zip(names, cells, strict=True):
        text = cell.strip() if isinstance(cell, str) else cell
        if text is None or text == "" or (isinstance(text, float) and not isfinite(text)):
            continue
        if len(str(text)) > _LONGEST:
            problems.append(Problem(name, "the text is too long", f"use at most {_LONGEST} letters"))
            continue
        legible = all(sign.isprintable() or sign.isspace() for sign in str(text))
        if not legible:
            problems.append(Problem(name, "a sign in it cannot be printed", "write it anew, in letters and figures"))
        if name == "id":
            row[name] = "".join(sign for sign in str(text) if sign.isprintable())
        elif legible:
            row[name] = f"{text} {unit}" if unit else value_of(text)
    return row, problems


def value_of(cell: Any) -> Any:
    """Read a cell as a value of a plan file: a number, true or false, a list, a table, or else text.

    Examples
    --------
    >>> value_of("35"), value_of("3.1 m"), value_of("[5, 6]"), value_of("true")
    (35, '3.1 m', [5, 6], True)
    """
    if not isinstance(cell, str):
        return cell.item() if hasattr(cell, "item") else cell
    try:
        value = tomllib.loads(f"x = {cell}")["x"] if "\n" not in cell else cell
    except (tomllib.TOMLDecodeError, ValueError, RecursionError):
        return cell
    return value if isinstance(value, int | float | bool | str | list | dict) else cell


def mistakes_of(source: Source, places: Iterable[PlaceRow]) -> Iterator[Problem]:
    """Yield what is wrong with the rows of a table of places, in order, each with its row."""
    where = str(source) if isinstance(source, str | Path) else "places"
    for place in places:
        words = _row_words(where, place.line, place.id)
        yield from (_in_row(words, problem) for problem in place.problems)
