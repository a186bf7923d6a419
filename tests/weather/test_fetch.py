"""Fetching, against a server on this machine that speaks as the NASA POWER service does; nothing beyond loopback."""

import json
import socket
import threading
from datetime import date
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pandas as pd
import pytest

from solarvent.base.errors import WeatherError
from solarvent.report.weather_text import weather_file
from solarvent.weather import fetch as weather_fetch
from solarvent.weather.fetch import default_year, fetch_weather
from solarvent.weather.reading import read_weather

LATITUDE, LONGITUDE, YEAR = 51.5, -79.95, 2023
#: Units as the service names them for hours, from memory of its replies.
UNITS = {
    "ALLSKY_SFC_SW_DWN": "Wh/m^2", "ALLSKY_SFC_SW_DNI": "Wh/m^2", "ALLSKY_SFC_SW_DIFF": "Wh/m^2", "T2M": "C",
    "WS10M": "m/s", "WD10M": "Degrees", "RH2M": "%", "PS": "kPa",
}  # fmt: skip


def reply(year=YEAR):
    """A year of hours in the form of the service's replies: UTC, named after the start of each hour."""
    from solarvent.weather import sky

    hours = pd.date_range(f"{year}-01-01", f"{year}-12-31 23:00", freq="h", tz="UTC")
    clear = sky.clear_sky(hours + pd.Timedelta("30min"), LATITUDE, LONGITUDE, 80.0)
    series = {
        "ALLSKY_SFC_SW_DWN": 0.7 * clear.ghi,
        "ALLSKY_SFC_SW_DNI": 0.6 * clear.dni,
        "ALLSKY_SFC_SW_DIFF": 0.9 * clear.dhi,
        "T2M": 10 + 8 * np.sin(2 * np.pi * (hours.hour - 14) / 24),
        "WS10M": np.full(len(hours), 4.2),
        "WD10M": np.full(len(hours), 225.0),
        "RH2M": np.full(len(hours), 81.0),
        "PS": np.full(len(hours), 100.3),
    }
    names = hours.strftime("%Y%m%d%H")
    values = {
        parameter: dict(zip(names, np.round(numbers, 2).tolist(), strict=True)) for parameter, numbers in series.items()
    }
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [LONGITUDE, LATITUDE, 83.4]},
        "properties": {"parameter": values},
        "header": {
            "title": "NASA/POWER Source Native Resolution Hourly Data",
            "sources": ["SYN1DEG", "MERRA2"],
            "fill_value": -999.0,
            "time_standard": "UTC",
        },
        "messages": [],
        "parameters": {parameter: {"units": unit, "longname": parameter} for parameter, unit in UNITS.items()},
        "times": {"data": 1.0, "process": 0.1},
    }


WHOLE = reply()


@pytest.fixture
def serve(monkeypatch):
    """Start a server that gives these (status, body) in turn, the last one for ever; return its address."""
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setattr(weather_fetch, "WAITS", (0.01, 0.02))
    servers, free = [], threading.Event()

    def start(*answers):
        asked = []

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                asked.append(parse_qs(urlsplit(self.path).query))
                status, body = answers[min(len(asked), len(answers)) - 1]
                if status == "hang":
                    free.wait(20)
                    status, body = 200, b"{}"
                content = body if isinstance(body, bytes) else json.dumps(body).encode()
                self.send_response(status)
                self.send_header("Content-Length", str(len(content)))
                self.end_headers()
                self.wfile.write(content)

            def log_message(self, *words):
                pass

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
        servers.append(server)
        return f"http://127.0.0.1:{server.server_port}/hourly", asked

    yield start
    free.set()
    for thread in [thread for thread in threading.enumerate() if thread.name.endswith("(work)")]:
        thread.join(5)
    for server in servers:
        server.shutdown()
        server.server_close()


def fetch(url, **options):
    return fetch_weather(LATITUDE, LONGITUDE, YEAR, url=url, **({"timeout": 20.0} | options))


def changed(**parts):
    """The whole reply with some of its parts replaced."""
    return WHOLE | parts


def with_values(parameter, edit):
    """The whole reply with one series edited."""
    series = dict(WHOLE["properties"]["parameter"][parameter])
    edit(series)
    return changed(properties={"parameter": WHOLE["properties"]["parameter"] | {parameter: series}})


def test_a_year_comes_in_our_columns_at_the_middle_of_each_hour(serve):
    url, asked = serve((200, WHOLE))
    weather = fetch(url)
    assert len(weather) == 8760
    assert weather.index[0].isoformat() == "2022-12-31T19:30:00-05:00"
    series = WHOLE["properties"]["parameter"]
    np.testing.assert_allclose(weather["ghi"], list(series["ALLSKY_SFC_SW_DWN"].values()))
    np.testing.assert_allclose(weather["temp_air"], list(series["T2M"].values()))
    assert weather["pressure"].iloc[0] == pytest.approx(100_300)
    assert weather["opaque_cover"].isna().all()
    assert weather.attrs["altitude"] == 83.4
    assert "SYN1DEG, MERRA2" in weather.attrs["source"]
    # What leaves the machine: the place, the year, and what is wanted.
    query = asked[0]
    assert query["latitude"] == [str(LATITUDE)]
    assert query["longitude"] == [str(LONGITUDE)]
    assert (query["start"], query["end"]) == (["20230101"], ["20231231"])
    assert query["time-standard"] == ["utc"]
    assert set(query["parameters"][0].split(",")) == set(UNITS)
    assert set(query) <= {"latitude", "longitude", "start", "end", "community", "parameters", "format", "header",
                          "time-standard"}  # fmt: skip


def test_the_file_that_is_written_reads_back_as_the_year_that_came(serve, tmp_path):
    url, _ = serve((200, WHOLE))
    weather = fetch(url)
    path = tmp_path / "year.csv"
    path.write_text(weather_file(weather) + "\n", encoding="utf-8")
    again = read_weather(path)
    pd.testing.assert_frame_equal(again, weather, check_freq=False, check_index_type=False, atol=0.06)
    assert again.attrs == weather.attrs
    assert path.read_text(encoding="utf-8").startswith(
        "# title: Year 2023 at latitude 51.5, longitude -79.95\n# source: NASA"
    )


def test_a_leap_year_comes_whole(serve):
    url, _ = serve((200, reply(2020)))
    weather = fetch_weather(LATITUDE, LONGITUDE, 2020, url=url)
    assert len(weather) == 8784


@pytest.mark.parametrize(
    "first",
    [
        (429, {"header": "Too many requests", "messages": ["slow down"]}),
        (500, b"<html>Internal Server Error</html>"),
        (503, {"message": "busy"}),
        (200, b"half a reply {"),
        (200, {"detail": "nothing"}),
    ],
)
def test_a_failure_is_tried_again(serve, first):
    url, asked = serve(first, (200, WHOLE))
    told = []
    assert len(fetch(url, tell=told.append)) == 8760
    assert len(asked) == 2
    assert any("again in" in words for words in told)
    assert any("waiting for the NASA POWER service" in words for words in told)


@pytest.mark.parametrize(
    ("answer", "message"),
    [
        (
            (429, {"header": "no", "messages": ["slow down", "please"]}),
            "it refuses: slow down; please; try again later",
        ),
        ((422, {"messages": []}), "it refuses: no reason given"),
        ((500, b"<html>"), "its reply cannot be read; try again later"),
        ((200, b"\x00\xff garbage"), "its reply cannot be read"),
        ((200, {}), "its reply has another form than pvlib expects"),
        ((200, []), "its reply has another form"),
        ((200, changed(parameters=[])), "its reply has another form"),
        ((200, changed(properties={"parameter": {}})), "its reply has another form"),
        ((200, changed(parameters=dict.fromkeys(UNITS, "C"))), "its reply has another form"),
        ((200, changed(geometry={"coordinates": []})), "its reply has another form"),
        ((200, changed(geometry={"coordinates": [LONGITUDE, LATITUDE, None]})), "its reply has another form"),
        ((200, changed(parameters=WHOLE["parameters"] | {"T2M": {"units": "K"}})), "temp_air came in K, not in C"),
        (
            (200, changed(parameters=WHOLE["parameters"] | {"ALLSKY_SFC_SW_DWN": {"units": "MJ/hr"}})),
            r"ghi came in MJ/hr, not in W/m\^2",
        ),
        ((200, reply(2022)), "8760 hours from 2022-01-01 to 2022-12-31 came, not the 8760 of 2023"),
        (
            (200, with_values("T2M", lambda series: series.update({"2023060112": -999.0}))),
            "hour 3637: temp_air is miss",
        ),
        (
            (200, with_values("ALLSKY_SFC_SW_DWN", lambda series: series.update(dict.fromkeys(list(series), -999.0)))),
            "hour 1: ghi is missing .*; try another year",
        ),
        (
            (200, with_values("ALLSKY_SFC_SW_DWN", lambda series: series.update({"2023060106": 1200.0}))),
            "ghi 1200 W/m2 is impossible",
        ),
    ],
)
def test_a_reply_that_is_no_year_is_refused_in_a_line(serve, answer, message):
    url, asked = serve(answer)
    with pytest.raises(WeatherError, match=message) as caught:
        fetch(url)
    assert "127.0.0.1" not in str(caught.value)
    assert "\n" not in str(caught.value.problems[0])
    assert len(asked) <= 3


def test_three_attempts_and_no_more(serve):
    url, asked = serve((503, {"message": "busy"}))
    with pytest.raises(WeatherError, match="it refuses: busy"):
        fetch(url)
    assert len(asked) == 3


def test_gaps_in_the_wind_stay_gaps(serve):
    url, _ = serve((200, with_values("WS10M", lambda series: series.update({"2023060112": -999.0}))))
    weather = fetch(url)
    assert weather["wind_speed"].isna().sum() == 1


def test_a_silent_server_is_given_up(serve):
    url, _ = serve(("hang", b""))
    with pytest.raises(WeatherError, match=r"no whole reply within 0\.2 s; try again later, or raise --timeout"):
        fetch(url, timeout=0.2)


def test_a_machine_without_a_network_is_told_so(serve):
    # A port of this machine on which nobody answers.
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    with pytest.raises(WeatherError, match=r"^the NASA POWER service: it cannot be reached; are you online"):
        fetch(f"http://127.0.0.1:{port}/hourly")


@pytest.mark.parametrize(
    ("latitude", "longitude", "year", "message"),
    [
        (91, 0, 2023, "latitude: 91 is outside -90 to 90"),
        (float("nan"), 0, 2023, "latitude: nan is outside"),
        (0, -181, 2023, "longitude: -181 is outside -180 to 180"),
        (0, 0, 2000, "year: 2000 is outside 2001 to"),
        (0, 0, date.today().year, "choose a whole year that is over"),
    ],
)
def test_what_the_service_cannot_have_is_not_asked(serve, latitude, longitude, year, message):
    url, asked = serve((200, WHOLE))
    with pytest.raises(WeatherError, match=message):
        fetch_weather(latitude, longitude, year, url=url)
    assert asked == []


def test_the_last_year_that_is_likely_whole():
    assert default_year(date(2026, 6, 30)) == 2024
    assert default_year(date(2026, 7, 1)) == 2025
