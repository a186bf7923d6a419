"""The same weather in three formats gives the same year."""

import gzip
import io
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from epw import HEADER, epw_rows

from solarvent.electrical.panel_model import TYPICAL
from solarvent.plan.library import profiles
from solarvent.plan.plan import load_plan
from solarvent.simulation.simulate import simulate

TEMP, HUMIDITY, PRESSURE = 6, 8, 9


@pytest.fixture(scope="module")
def years(tmp_path_factory):
    """The worked example under its weather as EPW, as TMY3 and as CSV."""
    folder = tmp_path_factory.mktemp("weather")
    packed = profiles() / "weather" / "tmy3_723170.csv.gz"
    text = gzip.decompress(packed.read_bytes()).decode()
    rows, air = epw_rows(), pd.read_csv(io.StringIO(text), comment="#")
    # Air as the station read it, at the end of each hour.
    for row, temp, humidity, pressure in zip(
        rows, air["temp_air [degC]"], air["relative_humidity [%]"], air["pressure [hPa]"], strict=True
    ):
        row[TEMP], row[HUMIDITY], row[PRESSURE] = f"{temp:.1f}", f"{humidity:.0f}", f"{100 * pressure:.0f}"
    (folder / "year.epw").write_text("\n".join([*HEADER, *map(",".join, rows)]) + "\n", encoding="utf-8")
    (folder / "year.csv").write_text(text, encoding="utf-8")
    station = Path(find_spec("pvlib").origin).parent / "data" / "723170TYA.CSV"
    files = {"EPW": folder / "year.epw", "TMY3": station, "CSV": folder / "year.csv"}
    return {
        name: simulate(load_plan().with_(weather={"file": str(file)}), bands=(TYPICAL,), house=False)
        for name, file in files.items()
    }


@pytest.mark.long
@pytest.mark.parametrize("other", ["TMY3", "EPW"])
def test_the_year_is_the_same_hour_for_hour(years, other):
    for column, hours in years["CSV"].hours.items():
        np.testing.assert_allclose(years[other].hours[column], hours, rtol=1e-6, atol=1e-6, err_msg=column)
