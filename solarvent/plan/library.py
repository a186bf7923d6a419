"""The parts library: files in profiles/, with a person's own folder laid over them; older keys are still read."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Literal, NamedTuple

from solarvent.base.errors import PartError, PlanError, Problem, SolarventError, likely_meant, nearest

#: Kind of part -> older key -> the key of today.
RENAMED: Mapping[str, Mapping[str, str]] = {
    "panels": {"soiling": "soiling_ratio"},
    "fans": {"run_down_voltage": "stop_voltage"},
}


def with_todays_keys(kind: str, entry: dict[str, Any]) -> dict[str, Any]:
    """Give an entry its keys of today; where both stand in it, the older one stays and counts as unknown."""
    renamed = RENAMED.get(kind, {})
    return {renamed[key] if key in renamed and renamed[key] not in entry else key: entry[key] for key in entry}


def older_keys(kind: str, entry: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield the older keys of an entry, each with that of today."""
    for old, new in RENAMED.get(kind, {}).items():
        if old in entry and new not in entry:
            yield old, new


#: Of a plan, a kit or parts: some hundred times what people write. [bytes]
LARGEST_FILE = 1_000_000
PARTS_VERSION = 1
#: A key of very many words joined by points; the time and room to read one grow with the square of their number.
_ENDLESS_KEY = re.compile(r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){64}""", re.ASCII)


def profiles() -> Traversable:
    """Find the data files: installed beside the package, or in the sibling folder of a clone."""
    try:
        return resources.files("solarvent.profiles")
    except ModuleNotFoundError:
        return Path(__file__).resolve().parents[2] / "profiles"


def shipped(folder: Literal["kits", "plans"]) -> dict[str, Traversable]:
    """Find the kits or plans that ship with the program, by name."""
    files = sorted((profiles() / folder).iterdir(), key=lambda file: file.name)
    return {file.name.removesuffix(".toml"): file for file in files if file.name.endswith(".toml")}


def shipped_text(name: str) -> str:
    """Give the text of a kit or plan that ships with the program; PlanError names the nearest one if there is none."""
    files = shipped("kits") | shipped("plans")
    if name not in files:
        raise PlanError.single(name[:80], "there is no kit or plan of that name", nearest(name, files))
    return files[name].read_text(encoding="utf-8").rstrip("\n")


def read_toml(path: Path | Traversable, error: type[SolarventError]) -> dict[str, Any]:
    """Read a TOML file, refusing what cannot be one.

    Raises `error` if there is no such file, or it is a folder, too large, not UTF-8 or not TOML; the message names the
    line.
    """
    where = str(path)
    try:
        with path.open("rb") as file:
            # One more than allowed tells that there is more, and a file without end does no harm.
            raw = file.read(LARGEST_FILE + 1)
    except IsADirectoryError:
        raise error.single(where, "this is a folder", "name a .toml file in it") from None
    except PermissionError as reason:
        # On some systems a folder is told so.
        if isinstance(path, Path) and os.path.isdir(path):
            raise error.single(where, "this is a folder", "name a .toml file in it") from None
        raise error.single(where, "the file may not be read", str(reason.strerror)) from None
    except FileNotFoundError:
        there = [file.name for file in path.parent.glob("*.toml")] if isinstance(path, Path) else []
        hint = likely_meant(path.name, there) or "check the path"
        raise error.single(where, "there is no such file", hint) from None
    except (OSError, ValueError) as reason:
        what = getattr(reason, "strerror", None) or str(reason)
        raise error.single(where, "the file cannot be read", what) from None
    if len(raw) > LARGEST_FILE:
        what = f"the file has more than {LARGEST_FILE:,} bytes"
        raise error.single(where, what, "a file of this kind has a few thousand; is it the right one?")
    try:
        # With or without the mark that some editors write first.
        text = raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as reason:
        line = raw[: reason.start].count(b"\n") + 1
        raise error.single(f"{where} line {line}", "the text is not UTF-8", "save the file as UTF-8") from None
    return toml_content(text, where, error)


def toml_content(text: str, where: str, error: type[SolarventError]) -> dict[str, Any]:
    """Give the content of a TOML text; `error` if it is none, with the line of the mistake at the place `where`."""
    if found := _ENDLESS_KEY.search(text):
        line = text[: found.start()].count("\n") + 1
        raise error.single(f"{where} line {line}", "too many words joined by points", "a key has one or two")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as reason:
        raise error([_not_toml(where, text, str(reason))]) from None
    except ValueError:
        # From Python itself, which reads no whole number of more than 4300 digits.
        raise error.single(where, "a number in it has too many digits", "write it shorter") from None
    except RecursionError:
        raise error.single(
            where, "the brackets are nested too deeply", "a file of this kind needs two levels"
        ) from None


def _not_toml(where: str, text: str, reason: str) -> Problem:
    """Show the line that cannot be read, and what is most likely wrong with it."""
    found = re.search(r"at line ([0-9]+)", reason)
    number = int(found.group(1)) if found else text.rstrip().count("\n") + 1
    where = f"{where} line {number}"
    # Without a line of its own, the reason is that the file ends too soon.
    line = text.split("\n")[number - 1].strip()
    what = f"cannot read {line[:60]}" if line else "cannot read on from here"
    if re.search("overwrite|twice|mutate|immutable", reason):
        return Problem(where, what, "this name has been given before; keep one of them")
    if found is None:
        return Problem(where, what, "something is begun and not finished: a bracket, a quote or a value")
    if "\\" in line:
        return Problem(where, what, 'a backslash begins a sign of its own: write paths with /, file = "data/year.csv"')
    return Problem(where, what, 'text and measures stand in quotes, length = "5 m"; plain numbers do not, tilt = 30')


def wire_id(text: str) -> str:
    """Turn the way people write a gauge into the library's id.

    Examples
    --------
    >>> wire_id("18 AWG"), wire_id("0.75 mm2")
    ('awg-18', 'mm2-0.75')
    """
    word = text.strip().lower().replace("²", "2")
    for unit in ("awg", "mm2"):
        number = word.removesuffix(unit).strip().removeprefix(unit).strip()
        if unit in word and number.replace(".", "", 1).isdigit():
            return f"{unit}-{float(number):g}"
    return word


class Library:
    """All known parts, as they stand in the files.

    An entry in `overlay`, a folder of files named like those in profiles/ (``fans.toml`` ...), wins over ours.

    Raises
    ------
    PartError
        If the overlay is not a folder, or holds a file that is broken or no kind of part.
    """

    def __init__(self, overlay: Path | None = None) -> None:
        self._overlay = overlay
        self._kinds: dict[str, dict[str, dict[str, Any]]] = {}
        if overlay is not None:
            if not os.path.isdir(overlay):
                raise PartError.single(
                    str(overlay), "this is not a folder of parts", "name a folder with fans.toml ..."
                )
            for file in sorted(overlay.glob("*.toml")):
                if file.stem not in KINDS:
                    raise PartError.single(str(file), f'"{file.stem}" is no kind of part', nearest(file.stem, KINDS))
                # Read now, so that what is wrong in it is told once, and not for each part that is looked up.
                self.entries(file.stem)

    def entries(self, kind: str) -> Mapping[str, dict[str, Any]]:
        """Give all entries of one kind, by id, as raw tables.

        PartError if there is no such kind, or a file is broken.
        """
        if kind not in KINDS:
            raise PartError.single("", f'"{kind}" is no kind of part', nearest(kind, KINDS))
        if kind not in self._kinds:
            found = dict(_shipped(kind))
            if self._overlay is not None and (self._overlay / f"{kind}.toml").exists():
                own = _entries_of(self._overlay / f"{kind}.toml")
                found |= {name: with_todays_keys(kind, entry) for name, entry in own.items()}
            self._kinds[kind] = found
        return self._kinds[kind]

    def names(self, kind: str) -> dict[str, str]:
        """Give what the entries of one kind are called, by id."""
        return {part: str(entry.get("name", part)) for part, entry in self.entries(kind).items()}

    def get(self, kind: str, part: str) -> dict[str, Any]:
        """Give one entry as a raw table; PartError names the nearest id if there is none."""
        entries = self.entries(kind)
        key = wire_id(part) if kind == "wires" else part
        if key not in entries:
            hint = nearest(key, entries)
            raise PartError.single("", f'there is no "{part}" among the {kind}', hint or f"see: solarvent parts {kind}")
        return dict(entries[key])


#: The kinds of part, which are the names of the library's files.
KINDS = (
    "panels", "fans", "leads", "splitters", "converters", "wires", "diodes", "covers", "openings", "connectors",
    "climates", "openers", "masses", "crops",
)  # fmt: skip


@cache
def _shipped(kind: str) -> dict[str, dict[str, Any]]:
    """Read one of our own files once."""
    return _entries_of(profiles() / f"{kind}.toml")


def _entries_of(path: Path | Traversable) -> dict[str, dict[str, Any]]:
    """Read the entries of a parts file and check its version."""
    content = read_toml(path, PartError)
    version = content.pop("parts_version", None)
    problems = []
    if version != PARTS_VERSION:
        problems.append(
            Problem(
                str(path),
                "it has no parts_version" if version is None else f"parts_version is {version!r}",
                f"write parts_version = {PARTS_VERSION}",
            )
        )
    problems += [
        Problem(f"{path}: {key}", "an entry is a table", f"begin it with [{key}]")
        for key, entry in content.items()
        if not isinstance(entry, dict)
    ]
    problems += [
        Problem(
            f"{path}: {key}", "it holds tables only", f'an id with a point in it stands in quotes: ["{key}.{word}"]'
        )
        for key, entry in content.items()
        if isinstance(entry, dict) and entry and all(isinstance(value, dict) for value in entry.values())
        for word in entry
    ]
    if problems:
        raise PartError(problems)
    return content


class Influence(NamedTuple):
    """What a figure that may be wrong by so much does to the hottest and the coldest hour [K].

    `figure` is that of the house that readings may tell, if it is one; `off` by how much it is wrong: a share or a
    logarithm, of the ground [K].
    """

    what: str
    peak: float
    night: float
    figure: str = ""
    off: float = 1.0


@cache
def influences() -> tuple[Influence, ...]:
    """What moves the answers of the house, as tests/helpers/sensitivity.py works it out for the embedded example."""
    entries = read_toml(profiles() / "models.toml", SolarventError)["sensitivity"]
    return tuple(Influence(**entry) for entry in entries)
