"""The weather nearest to a place."""

import gzip
import re
from pathlib import Path

import pytest

from solarvent.base.errors import WeatherError
from solarvent.plan.library import Library, profiles
from solarvent.weather.reading import distance, nearest_climate, nearest_station, stations

HEAD = "# title: t\n# latitude: {0}\n# longitude: {1}\n# altitude: 5\n# stamp: start\ntime,ghi [W/m2]\n"
EPW = "LOCATION,Somewhere,-,XXX,TMY,037720,51.48,-0.45,0.0,25.0\nDESIGN CONDITIONS,0\n"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plain.csv").write_text(HEAD.format(10.5, 20.25), encoding="utf-8")
    (tmp_path / "packed.csv.gz").write_bytes(gzip.compress(HEAD.format(-40, 175).encode(), mtime=0))
    (tmp_path / "town.epw").write_text(EPW, encoding="utf-8")
    (tmp_path / "year.csv.gz").write_bytes((profiles() / "weather" / "tmy3_723170.csv.gz").read_bytes())
    (tmp_path / "other.csv").write_text("name,age\nx,1\n", encoding="utf-8")
    (tmp_path / "broken.csv.gz").write_bytes(b"\x1f\x8bnot packed")
    (tmp_path / "notes.txt").write_text("no weather", encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("one", "other", "kilometres"),
    [
        # Vincenty's formula on the ellipsoid: London to Paris 343.9 km, Sydney to Auckland 2160 km (from memory).
        ((51.5074, -0.1278), (48.8566, 2.3522), 343.9),
        ((-33.8688, 151.2093), (-36.8485, 174.7633), 2160.0),
    ],
)
def test_distances_are_those_of_the_earth(one, other, kilometres):
    # A round earth is off by half a per cent at the most.
    assert distance(*one, *other) / 1000 == pytest.approx(kilometres, rel=5e-3)
    assert distance(*one, *other) == pytest.approx(distance(*other, *one))
    assert distance(*one, *one) == 0


def test_the_date_line_and_the_poles_are_no_walls():
    assert distance(0, 179.9, 0, -179.9) == pytest.approx(distance(0, 0, 0, 0.2), rel=1e-9)
    assert distance(90, 0, 90, 120) == pytest.approx(0, abs=1e-6)


def test_every_kind_of_file_tells_its_place(folder):
    found = {one.path.name: (one.latitude, one.longitude) for one in stations(folder)}
    assert found == {
        "plain.csv": (10.5, 20.25),
        "packed.csv.gz": (-40.0, 175.0),
        "town.epw": (51.48, -0.45),
        "year.csv.gz": (36.1, -79.95),
    }
    assert all(one.path.is_absolute() for one in stations(folder))


def test_the_nearest_file_is_found_with_its_distance(folder):
    station, away = nearest_station(stations(folder), -41.0, 174.0)
    assert station.path.name == "packed.csv.gz"
    assert away == pytest.approx(distance(-41, 174, -40, 175))


def test_a_folder_without_weather_is_told(tmp_path):
    with pytest.raises(WeatherError, match="no weather file in it tells its place"):
        stations(tmp_path)
    with pytest.raises(WeatherError, match=re.escape(str(Path("nowhere"))) + ": this is not a folder"):
        stations(Path("nowhere"))


@pytest.mark.parametrize(
    ("latitude", "kind"), [(0.5, "tropical-wet"), (-52.0, "cool-maritime"), (-38.0, "southern-temperate-oceanic"),
                           (38.0, "mediterranean"), (70.0, "subarctic")],
)  # fmt: skip
def test_a_climate_is_chosen_by_its_distance_from_the_equator(latitude, kind):
    assert nearest_climate(Library(), latitude) == kind
