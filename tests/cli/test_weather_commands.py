"""``solarvent weather`` as a person meets it, and the promise that nothing else touches a network."""

import json
import socket

import pvlib.iotools
import pytest
from sampled import sampled
from written_logs import a_log

from solarvent.cli import _COMMANDS, main
from solarvent.report.weather_text import weather_file
from solarvent.weather import fetch as weather_fetch
from solarvent.weather.reading import embedded_weather

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")


# Its classes are made from the socket's own, which must happen before a test takes the socket away.
assert pvlib.iotools


def run(capsys, *args):
    """Run the command line here; exit code, output, errors."""
    with pytest.raises(SystemExit) as left:
        main([str(arg) for arg in args])
    printed = capsys.readouterr()
    return left.value.code, printed.out, printed.err


@pytest.fixture
def fetched(monkeypatch):
    """Put a year in the place of the service's; return what it was asked for."""
    asked = []

    def answer(*args, **options):
        asked.append((args, options))
        options["tell"]("waiting")
        return embedded_weather()

    monkeypatch.setattr(weather_fetch, "fetch_weather", answer)
    return asked


def test_look_takes_the_year_that_ships_when_no_file_is_named(capsys):
    code, out, err = run(capsys, "weather", "look")
    assert (code, err) == (0, "")
    assert "No file was given" in out
    assert "station 723170" in out
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_look_reads_a_file_and_writes_all_forms(capsys, tmp_path, form):
    (tmp_path / "year.csv").write_text(weather_file(embedded_weather()) + "\n", encoding="utf-8")
    code, out, err = run(capsys, "weather", "look", tmp_path / "year.csv", "--format", form, "-o", tmp_path / "out")
    assert (code, out) == (0, "")
    assert "written: " in err
    assert ("Next: put file = '" in err) == (form == "text")
    text = (tmp_path / "out").read_text(encoding="utf-8")
    assert "No file was given" not in text
    if form == "json":
        assert json.loads(text)["schema"] == "solarvent.weather/1"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "there is no such file"),
        ("", "the file is empty"),
        ("LOCATION,a,b\n", "the EPW file ends within its header"),
        ("time,ghi\n1,2\n", "ghi has no unit"),
    ],
)
def test_a_file_that_cannot_be_used_is_told_in_lines(capsys, tmp_path, content, words):
    path = tmp_path / "year.csv"
    if content is not None:
        path.write_text(content, encoding="utf-8")
    code, out, err = run(capsys, "weather", "look", path)
    assert (code, out) == (1, "")
    assert words in err
    assert all(line.startswith("solarvent: ") for line in err.splitlines())


def test_fetch_writes_a_file_that_a_plan_can_use(capsys, tmp_path, fetched):
    path = tmp_path / "here.csv"
    code, out, err = run(capsys, "weather", "fetch", "--lat", "36.1", "--lon", "-79.95", "--year", "2022", "-o", path)
    assert (code, out) == (0, "")
    assert err.splitlines() == [f"written: {path}", f"Next: solarvent weather look {path}"]
    assert fetched[0][0] == (36.1, -79.95, 2022)
    plan = tmp_path / "plan.toml"
    run(capsys, "new", plan)
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace('embedded = "latitude 36.1, longitude -79.95"', 'file = "here.csv"'), encoding="utf-8")
    code, out, _ = run(capsys, "run", plan, "--day", "07-15", "--format", "csv")
    assert code == 0
    assert len(out.splitlines()) == 25


def test_fetch_does_not_ask_for_what_it_may_not_write(capsys, tmp_path, fetched):
    path = tmp_path / "here.csv"
    path.write_text("precious", encoding="utf-8")
    place = ("weather", "fetch", "--lat", "1", "--lon", "2", "-o")
    code, _, err = run(capsys, *place, path)
    assert code == 1
    assert "the file is there already; choose another name, or add --force" in err
    code, _, err = run(capsys, *place, tmp_path / "nowhere" / "here.csv")
    assert code == 1
    assert "its folder is not there" in err
    assert fetched == []
    assert path.read_text(encoding="utf-8") == "precious"
    assert run(capsys, *place, path, "--force")[0] == 0


def test_progress_is_shown_on_a_terminal_only(capsys, tmp_path, fetched, monkeypatch):
    place = ("weather", "fetch", "--lat", "1", "--lon", "2", "-o")
    assert "\r" not in run(capsys, *place, tmp_path / "a.csv")[2]
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    assert "\rwaiting" in run(capsys, *place, tmp_path / "b.csv")[2]


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (("fetch",), 2, "--lat"),
        (("fetch", "--lat", "91", "--lon", "0", "-o", "x"), 2, "91"),
        (("fetch", "--lat", "north", "--lon", "0", "-o", "x"), 2, "north"),
        (("fetch", "--lat", "1", "--lon", "0"), 2, "--output"),
        (("fetch", "--lat", "nan", "--lon", "0", "-o", "x"), 2, "nan is not a number"),
        (("fetch", "--lat", "1", "--lon", "0", "--year", "1950", "-o", "x"), 1, "year: 1950 is outside 2001 to"),
        (("lok",), 2, "lok"),
    ],
)
def test_a_slip_on_the_command_line_is_told(capsys, tmp_path, monkeypatch, args, code, words):
    monkeypatch.chdir(tmp_path)
    got, _, err = run(capsys, "weather", *args)
    assert got == code
    assert words in err
    assert list(tmp_path.iterdir()) == []


def test_fetch_without_a_network_ends_in_one_line(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr(weather_fetch, "WAITS", ())
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    url = f"http://127.0.0.1:{port}/"
    path = tmp_path / "x.csv"
    code, out, err = run(capsys, "weather", "fetch", "--lat", "1", "--lon", "2", "-o", path, "--url", url)
    assert (code, out) == (1, "")
    assert err.splitlines() == [
        "solarvent: the NASA POWER service: it cannot be reached; are you online? all else works without a network"
    ]
    assert not path.exists()


# --- Nothing else touches a network -------------------------------------------------------------------------------

#: What is given to a command so that it does its work; a command that is not listed runs with nothing.
ARGUMENTS = {
    "run": [["--day", "07-15"], ["--format", "json"]],
    "new": [["plan.toml"]],
    "parts": [[], ["fans"], ["climates", "hot-desert"]],
    "weather": [["look"]],
    "need": [["--below", "32 degC", "--outside", "24 degC"]],
    "size": [["--fans", "2"]],
    "compare": [["default", "faulty"]],
    "pair": [["trio-right-splitter"]],
    "about": [["models"], ["checks"]],
    # The loop of events of its scheduler opens a pair of sockets within the process.
    "many": [],
    "calibrate": [],
    # It listens, which is its whole work; that it asks nobody is shown in a browser.
    "serve": [],
}
SLOW = [["calibrate", "default", "log.csv", "--shift", "5.5 h"]]


@pytest.mark.parametrize(
    "args",
    sampled([[name, *args] for name in _COMMANDS for args in ARGUMENTS.get(name, [[]])], SLOW),
    ids=" ".join,
)
def test_every_command_works_with_all_sockets_shut(capsys, tmp_path, monkeypatch, args):
    def shut(*words, **options):
        raise AssertionError("a socket was opened")

    for name in ("socket", "create_connection", "getaddrinfo"):
        monkeypatch.setattr(socket, name, shut)
    monkeypatch.chdir(tmp_path)
    a_log(tmp_path / "log.csv")
    code, out, err = run(capsys, *args)
    assert code in (0, 3), err
    assert out or list(tmp_path.iterdir())


def test_with_all_sockets_shut_the_fetch_does_try(capsys, tmp_path, monkeypatch):
    # The guard of the test above sees what it should: the one command that may use a network meets it.
    opened = []

    def shut(*words, **options):
        opened.append(words)
        raise OSError("shut")

    monkeypatch.setattr(weather_fetch, "WAITS", ())
    for name in ("socket", "create_connection", "getaddrinfo"):
        monkeypatch.setattr(socket, name, shut)
    code, _, err = run(
        capsys, "weather", "fetch", "--lat", "1", "--lon", "2", "-o", tmp_path / "x.csv", "--url", "http://127.0.0.1:1/"
    )
    assert code == 1
    assert opened
    assert "it cannot be reached" in err


def test_the_sum_is_in_the_units_of_the_surroundings(capsys, monkeypatch):
    monkeypatch.setenv("SOLARVENT_UNITS", "us")
    assert "degF" in run(capsys, "weather", "look")[1]
