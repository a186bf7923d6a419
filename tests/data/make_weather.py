"""Make profiles/weather/tmy3_723170.csv.gz from the TMY3 file that pvlib ships: ``python tests/data/make_weather.py``.

Only the columns that are used are kept, as the station wrote them: stamps at the end of the hour, tenths, hPa.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import pvlib

YEAR = 2023
TARGET = Path(__file__).resolve().parents[2] / "profiles" / "weather" / "tmy3_723170.csv.gz"
COLUMNS = {
    "ghi [W/m2]": "GHI (W/m^2)",
    "dni [W/m2]": "DNI (W/m^2)",
    "dhi [W/m2]": "DHI (W/m^2)",
    "temp_air [degC]": "Dry-bulb (C)",
    "wind_speed [m/s]": "Wspd (m/s)",
    "wind_direction [deg]": "Wdir (degrees)",
    "relative_humidity [%]": "RHum (%)",
    "pressure [hPa]": "Pressure (mbar)",
    "total_cover [tenths]": "TotCld (tenths)",
    "opaque_cover [tenths]": "OpqCld (tenths)",
}
HEAD = """\
# title: Typical year (TMY3), station 723170
# source: National Solar Radiation Data Base, TMY3, station 723170 (S. Wilcox, W. Marion, Users Manual for TMY3 Data \
Sets, NREL/TP-581-43156, 2008)
# latitude: {latitude:g}
# longitude: {longitude:g}
# altitude: {altitude:g}
# stamp: end
# air: end
"""


def make() -> bytes:
    """Return the file, the same bytes for the same input."""
    original = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    data, site = pvlib.iotools.read_tmy3(original, coerce_year=YEAR, map_variables=False)
    table = data[list(COLUMNS.values())].set_axis(list(COLUMNS), axis=1)
    table.insert(0, "time", [f"{stamp:%Y-%m-%dT%H:%M}-05:00" for stamp in table.index])
    text = HEAD.format(**site) + table.to_csv(index=False, lineterminator="\n", float_format="%.1f")
    return gzip.compress(text.encode(), compresslevel=9, mtime=0)


if __name__ == "__main__":
    TARGET.write_bytes(make())
