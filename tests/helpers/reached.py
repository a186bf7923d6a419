"""What of the package a person reaches: a fixed list of commands is run, and every function that they enter is told.

    python tests/helpers/reached.py     the functions that are entered, as JSON: [[module, qualified name], ...]

The commands are a person's, on sound plans, unusual ones and faulty ones. They run in a process of their own: so a
function that keeps its answer is seen to be entered, whatever was asked before.
"""

from __future__ import annotations

import contextlib
import inspect
import io
import json
import shutil
import sys
import tempfile
import threading
import tomllib
import warnings
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

TESTS = Path(__file__).resolve().parents[1]

SHADED = [
    {"id": name, "part": "panel-20w", "lit_share_of_worst_cell": 0.5, "bypass_diodes": 2} for name in ("roof", "wall")
]
#: What may be unusual in a plan, each laid over the small shed of the failures.
UNUSUAL: dict[str, dict[str, Any]] = {
    "series": {"wiring.layout": "series", "panel.0.part": "panel-50w"},
    "held": {"fan.0.standing": "held", "fan.0.motor": "brushed"},
    "capacitor": {"fan.0.start_capacitor": "4700 uF", "panel.0.part": "panel-10w"},
    "speed": {"fan.0.speed_controlled": True},
    "unlike": {
        "panel": [
            {"id": "roof", "part": "panel-30w", "lit_share_of_worst_cell": 0.5, "age": 10.0},
            {"id": "wall", "part": "panel-20w", "tilt": 60, "behind": "single-glass"},
        ],
        "wiring.panels": "series",
        "wiring.blocking_diode": "schottky-3a",
    },
    "unlike-fed-by-buck": {
        "panel": [
            {"id": "roof", "part": "panel-30w", "lit_share_of_worst_cell": 0.5},
            {"id": "wall", "part": "panel-20w", "tilt": 60, "lit_share_of_worst_cell": 0.4},
        ],
        "wiring.panels": "series",
        "wiring.converter": "buck-12v",
        "fan.0.part": "fan-12v-120x25",
        "fan.1.part": "fan-12v-120x25",
    },
    "unlike-side-by-side": {
        "panel": [
            {"id": "roof", "part": "panel-30w", "lit_share_of_worst_cell": 0.5},
            {"id": "wall", "part": "panel-20w", "tilt": 60},
        ],
        "wiring.blocking_diode": "schottky-3a",
        "fan.0.speed_controlled": True,
    },
    "unlike-side-by-side-fed-by-buck": {
        "panel": [{"id": "roof", "part": "panel-30w"}, {"id": "wall", "part": "panel-20w", "tilt": 60}],
        "wiring.blocking_diode": "schottky-3a",
        "wiring.converter": "buck-12v",
        "fan.0.part": "fan-12v-120x25",
        "fan.1.part": "fan-12v-120x25",
    },
    "alike": {
        "panel": [{"id": name, "part": "panel-20w"} for name in ("roof", "wall")],
        "wiring.blocking_diode": "schottky-3a",
    },
    "alike-in-shade": {"panel": SHADED},
    "alike-in-shade-in-series": {"panel": SHADED, "wiring.panels": "series"},
    "watts": {"panel.0.part": None, "panel.0.watts": "30 W"},
    "bypass": {"panel.0.part": "panel-100w", "panel.0.lit_share_of_worst_cell": 0.3, "panel.0.bypass_diodes": 2},
    "one-each": {
        "panel": [{"id": "roof", "part": "panel-30w"}, {"id": "wall", "part": "panel-20w", "azimuth": 90}],
        "wiring.layout": "one-each",
    },
    "measured": {"fan.0.readings": [[12, 0.1], [24, 0.21]], "fan.0.curve": [[0, 60], [80, 35], [150, 0]]},
    "thermostat": {"thermostat": {"closes_at": "28 degC", "opens_at": "24 degC"}},
    "battery": {"battery": {"kind": "lithium", "capacity": "84 Wh", "controller": "mppt"}},
    **{
        converter: {"wiring.converter": converter, "fan.0.part": fan, "fan.1.part": fan}
        for converter, fan in (
            ("buck-12v", "fan-12v-120x25"),
            ("linear-12v", "fan-12v-120x25"),
            ("clamp-13v", "fan-12v-120x25"),
            ("panel-usb-board-latching", "fan-usb-120"),
        )
    },
}
PLACES = {
    "climate": {"weather": {"climate": "cool-maritime"}, "house.use": "greenhouse"},
    "south": {"weather": {"climate": "mediterranean"}, "place.latitude": -38.0, "house.shape": "tunnel"},
}


RICH = TESTS / "fuzz" / "rich_plan.toml"


def _base(name: str) -> dict[str, Any]:
    return tomllib.loads((TESTS / "data" / "failures" / f"{name}.toml").read_text(encoding="utf-8"))


def written_plan(content: dict[str, Any], path: Path) -> Path:
    """Write a plan, a key of its top level a line."""

    def toml(value: Any) -> str:
        if isinstance(value, dict):
            return "{" + ", ".join(f"{name} = {toml(one)}" for name, one in value.items()) + "}"
        if isinstance(value, list):
            return "[" + ", ".join(map(toml, value)) + "]"
        # JSON's words, numbers and truths are TOML's too.
        return json.dumps(value)

    path.write_text("".join(f"{name} = {toml(value)}\n" for name, value in content.items()), encoding="utf-8")
    return path


def plans(folder: Path) -> Iterator[tuple[str, Path]]:
    """Write the plans of the trace; yield the name and the file of each."""
    from conftest import changed

    for name, change in (UNUSUAL | PLACES).items():
        yield name, written_plan(changed(_base("shed"), change), folder / f"{name}.toml")
    for arrangement in ("series", "parallel"):
        name = f"pairs-in-{arrangement}"
        yield name, written_plan(_base("shed") | _two_alike_pairs(arrangement), folder / f"{name}.toml")
    for slug, case in _base("cases").items():
        content = _base(case["plan"])
        for part in ("scene", "fault"):
            nulls = {place: None if value == "-" else value for place, value in case.get(part, {}).items()}
            content = changed(content, nulls)
        yield f"failure: {slug}", written_plan(content, folder / f"{slug}.toml")


def _two_alike_pairs(arrangement: str) -> dict[str, Any]:
    """A small panel and a large one side by side, and as much again, joined in one way or the other."""
    from faulty_wiring import EAST, MAIN, PANEL, jack, plug

    joint = {"branches": 2, "length": "0 m", "trunk": plug(), "branch": jack(), "crosses": False}
    pairs = {"a": "one", "b": "one", "c": "two", "d": "two"}
    return {
        "panel": [
            PANEL | {"id": name, "part": part}
            for name, part in zip(pairs, ("panel-30w", "panel-20w") * 2, strict=True)
        ],
        "splitter": [
            *({"id": name, "arrangement": "parallel"} | joint for name in ("one", "two")),
            {"id": "both", "arrangement": arrangement} | joint,
        ],
        "lead": [MAIN],
        "fan": [EAST],
        "wiring": {"runs": [[name, pair, "both", "main", "east"] for name, pair in pairs.items()]},
    }  # fmt: skip


def commands(folder: Path) -> Iterator[list[Any]]:
    """Yield every command of the trace."""
    yield from _commands_without_a_plan(folder)
    yield from _weather_commands(folder)
    made = dict(plans(folder))
    for name, plan in made.items():
        yield ["run", plan, "--day", "06-21"]
        if name in UNUSUAL:
            yield ["checklist", plan]
            yield ["meter", plan]
    for plan in ("default", RICH):
        yield ["report", plan, "-o", folder / "page.html", "--force"]
        yield ["checklist", plan, "--format", "markdown", "--units", "us"]
        for form in ("text", "json"):
            yield ["need", plan, "--below", "32 degC", "--outside", "24 degC", "--format", form]
            yield ["meter", plan, "--format", form]
    for form in ("text", "json", "csv"):
        yield ["run", "faulty", "--format", form]
        yield ["run", "coop", "--budget", "--format", form]
        yield ["size", "--fans", "2", "--format", form]
        yield ["night", made["climate"], "--hold", "3 degC", "--nights", "2", "--format", form]
        yield ["airflow", made["south"], "--format", form]
        yield ["airflow", made["south"], "--year", "--format", form]
        yield ["airflow", "default", "--orient", "--format", form]
        yield ["airflow", "coop", "--oktas", "9", "--step", "10 min", "--from", "11", "--format", form]
    yield ["run", made["unlike"], "--full"]
    yield ["airflow", "default", "--oktas", "5"]
    yield ["run", "default", "--day", "07-15", "--step", "10 min"]
    yield ["compare", "default", "faulty"]
    shed = folder / "shed.toml"
    shutil.copy(TESTS / "data" / "failures" / "shed.toml", shed)
    yield ["compare", shed, made["thermostat"], "--all", "--format", "json"]
    yield ["size", "--panel", "20 W", "--fan", "fan-24v-120x25"]
    yield ["size", "--fans", "1", "--fan", "fan-usb-120", "--target", "6 K", "--tilt", "20", "--azimuth", "230"]
    yield ["size", shed, "--target", "20 ach"]
    for name in ("thermostat", "series", "bypass", "unlike", "battery"):
        yield ["size", made[name], "--watts", "30 W", "--watts", "60 W", "--wire", "16AWG"]
    night = ["--oktas", "5", "--from", "20:00", "--to", "06:00"]
    yield ["airflow", made["battery"], *night]
    yield ["run", made["battery"], "--budget"]
    wired = folder / "wired.toml"
    from faulty_wiring import EAST, WIRED

    fans = [EAST | {"part": "fan-12v-120x25"}, EAST | {"id": "west", "part": "fan-12v-120x25"}]
    written_plan(_base("shed") | WIRED | {"fan": fans}, wired)
    yield ["new", wired, "--mend", "over-voltage"]
    yield from _many_commands(folder, made["climate"])
    yield from _calibrate_commands(folder, made["climate"])
    yield ["meter", shed, "--irradiance", "600", "--panel-open", "20.4V", "--fan", "east=0.4V/0.1A/stands"]
    yield ["meter", shed, "--at", "2025-06-21 12:00", "--panel-joined", "17V/0.3A", "--format", "json"]
    read = ["--panel-open", "20.4V", "--panel-short", "0.9A", "--fan", "east=15V/0.12A/turns"]
    yield ["meter", shed, "--irradiance", "700", "--temp-cell", "40", *read, "--write"]
    yield ["meter", RICH, "--fan", "ridge-fan=11V/0.2A/turns", "--panel-open", "north=21V"]


def _commands_without_a_plan(folder: Path) -> Iterator[list[Any]]:
    """Yield those on boxes, on the library and on the program itself."""
    from faulty_wiring import STEPPED_UP

    from solarvent.plan.library import profiles

    for kit in sorted((profiles() / "kits").iterdir(), key=str):
        if kit.name not in ("box-of-fans.toml", "box-of-panel.toml"):
            yield ["pair", kit.name.removesuffix(".toml")]
    yield ["pair", "box-of-fans", "box-of-panel", "--format", "json"]
    yield ["pair", TESTS / "data" / "good_runs.toml"]
    boost = folder / "boost.toml"
    boost.write_text(STEPPED_UP, encoding="utf-8")
    yield ["pair", boost]
    yield ["pair"]
    yield ["new", folder / "new.toml"]
    yield ["new", folder / "asked.toml", "--ask"]
    yield ["new", folder / "boxed.toml", "--ask", "--box", "trio-right-splitter"]
    yield ["new", folder / "box.toml", "--copy", "box-of-fans"]
    for form in ("text", "json", "csv"):
        yield ["parts", "fans", "--format", form]
        yield ["about", "checks", "--format", form]
    yield ["parts"]
    yield ["parts", "connectors", "usb-a"]
    yield ["schema"]
    for what in ("models", "faults", "questions"):
        for form in ("text", "json"):
            yield ["about", what, "--format", form]


def _weather_commands(folder: Path) -> Iterator[list[str]]:
    """Yield those on weather: each kind of file is looked at, one is fetched, and a plan takes one of them."""
    from pvlib.iotools import __file__ as readers
    from test_station_files import HEADER, TYPICAL

    epw = folder / "year.epw"
    epw.write_text("\n".join([*HEADER, *(",".join(row) for row in TYPICAL)]) + "\n", encoding="utf-8")
    yield ["weather", "look", epw]
    yield ["weather", "look", Path(readers).parents[1] / "data" / "723170TYA.CSV", "--format", "json"]
    yield ["weather", "look", "--format", "csv"]
    fetched = folder / "fetched.csv"
    yield ["weather", "fetch", "--lat", "51.5", "--lon", "-79.95", "-o", fetched, "--url", _service()]
    yield ["weather", "look", fetched]
    yield ["run", written_plan(_base("shed") | {"weather": {"file": str(epw)}}, folder / "by_file.toml")]


def _calibrate_commands(folder: Path, plan: Path) -> Iterator[list[Any]]:
    """Yield those on a log: some days by the hour, with light and without, and least and most of each day."""
    from written_logs import a_log, least_and_most

    own = folder / "calibrated.toml"
    shutil.copy(plan, own)
    for form in ("text", "csv"):
        yield ["calibrate", own, a_log(folder / f"log.{form}", light=form != "csv"), "--format", form]
    yield ["calibrate", own, least_and_most(folder / "notebook.csv"), "--shut", "--write"]
    yield ["report", own, "-o", folder / "page.html", "--force"]


def _many_commands(folder: Path, plan: Path) -> Iterator[list[Any]]:
    """Yield those on many places, in this process."""
    places, designs, files = folder / "places.csv", folder / "designs.csv", folder / "files"
    places.write_text("id,latitude,longitude\na,51,0\nb,-20,150\n", encoding="utf-8")
    designs.write_text("id,watts,panel.tilt\nsmall,10 W,20\nlarge,50,20\n", encoding="utf-8")
    files.mkdir()
    shutil.copy(folder / "year.epw", files)
    for form in ("text", "json", "csv"):
        yield ["many", plan, places, "-o", folder / "many", "--on", "one", "--format", form]
    yield ["many", plan, places, "--designs", designs, "--weather", files, "--within", "15000", "--on", "one"]


def _service() -> str:
    """Start a server on this machine that answers as the weather service does; give its address."""
    from http.server import BaseHTTPRequestHandler, HTTPServer

    from test_fetch import reply

    from solarvent.weather.fetch import default_year

    year = json.dumps(reply(default_year(date.today()))).encode()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.end_headers()
            self.wfile.write(year)

        def log_message(self, *words: Any) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return f"http://127.0.0.1:{server.server_port}/"


class Terminal(io.TextIOWrapper):
    """What somebody looks at."""

    def isatty(self) -> bool:
        return True


def run(words: list[str]) -> Any:
    """Run a command as a person at a terminal who takes every default; its exit code. What it says goes nowhere."""
    from solarvent.cli import main

    out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    err = Terminal(io.BytesIO(), encoding="utf-8")
    sys.stdin = io.TextIOWrapper(io.BytesIO(b"\n" * 40), encoding="utf-8")
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(words)
        except SystemExit as left:
            return left.code
    return 0


def trace() -> set[CodeType]:
    """Run all commands; give the code of every function that was entered."""
    entered: set[CodeType] = set()

    def notice(frame: FrameType, event: str, argument: Any) -> None:
        if event == "call":
            entered.add(frame.f_code)

    # The package itself lies above the tests in a clone, and is installed elsewhere.
    sys.path[:0] = [str(TESTS), str(TESTS / "weather"), str(TESTS.parent)]
    warnings.simplefilter("ignore")
    with tempfile.TemporaryDirectory() as folder:
        threading.setprofile(notice)
        sys.setprofile(notice)
        for command in commands(Path(folder)):
            words = list(map(str, command))
            if (code := run(words)) not in (0, 3):
                raise SystemExit(f"solarvent {' '.join(words)}: ended with {code}")
        sys.setprofile(None)
        threading.setprofile(None)
    return entered


def names_of(codes: set[CodeType]) -> list[tuple[str, str]]:
    """Give module and qualified name of each function of the package, in order."""
    import solarvent

    package = Path(solarvent.__file__).parent
    names = set()
    for code in codes:
        # The bodies of modules and classes are code too, which runs as they are imported.
        is_function = code.co_flags & inspect.CO_OPTIMIZED
        if is_function and package in (file := Path(code.co_filename)).parents:
            steps = file.relative_to(package.parent).with_suffix("").parts
            names.add((".".join(steps), code.co_qualname))
    return sorted(names)


if __name__ == "__main__":
    print(json.dumps(names_of(trace())))
