"""Make tests/data/minutes/*.csv.gz: light by the minute at six places, from what two source distributions carry.

    python tests/data/make_minutes.py PVLIB PVANALYTICS

with the unpacked folders of pvlib 0.11.0 and pvanalytics 0.2.2 (``pip download --no-binary :all: --no-deps``), whose
own tests read these files. Light under 0 (the night offset of a thermal sensor) is 0; beam that is missing follows from
the rest, a missing minute from its neighbours; days that were not measured are left out. Only minutes with light are
kept; all others are dark.
"""

import gzip
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from pvlib.iotools import read_bsrn, read_srml, read_surfrad

from solarvent.weather import sun

HERE = Path(__file__).parent / "minutes"
BSRN = "Baseline Surface Radiation Network, station file pay0616 (free to use with its source named)"
SURFRAD = "SURFRAD network of the US weather service (public domain)"
MIDC = "Measurement and Instrumentation Data Center of the US renewable energy laboratory"
SRML = "Solar Radiation Monitoring Laboratory, University of Oregon"
RMIS = f"{MIDC}, reference meteorological station, by pvanalytics"


def place_of(name, latitude, longitude, altitude, minutes, source):
    return {
        "name": name, "latitude": latitude, "longitude": longitude, "altitude": altitude, "minutes": minutes,
        "source": source,
    }  # fmt: skip


def midc(path, zone, columns):
    """A day of a station of MIDC; its rows may be longer than its head."""
    with path.open(encoding="utf-8") as lines:
        head = lines.readline().rstrip("\n").split(",")
    table = pd.read_csv(path, header=None, skiprows=1).iloc[:, : len(head)]
    table.columns = head[: table.shape[1]]
    parts = (table["Year"].astype(str), table["DOY"].astype(str).str.zfill(3), table[zone].astype(str).str.zfill(4))
    clock = pd.to_datetime(parts[0] + parts[1] + parts[2], format="%Y%j%H%M")
    table.index = pd.DatetimeIndex(clock + pd.Timedelta(hours={"MST": 7, "CST": 6}[zone])).tz_localize("UTC")
    return table[list(columns)].set_axis(["ghi", "dni", "dhi"], axis=1)


def rmis(path, columns):
    """Days of five minutes, stamped at their end."""
    table = pd.read_csv(path, index_col=0)
    clock = pd.to_datetime(table.index, format="%m/%d/%Y %H:%M").tz_localize("Etc/GMT+7").tz_convert("UTC")
    table.index = clock - pd.Timedelta(minutes=5)
    return table[list(columns)].set_axis(["ghi", "dni", "dhi"], axis=1)


def stations(pvlib, pvanalytics):
    data, more = pvlib / "pvlib" / "data", pvanalytics / "pvanalytics" / "data"
    yield (
        read_bsrn(data / "bsrn-pay0616.dat.gz")[0][["ghi", "dni", "dhi"]],
        place_of("payerne", 46.815, 6.944, 491, 1, BSRN),
    )
    yield (
        read_surfrad(data / "surfrad-slv16001.dat")[0][["ghi", "dni", "dhi"]],
        place_of("alamosa", 37.70, -105.92, 2317, 1, SURFRAD),
    )
    tucson = ("Global Horiz (tracker) [W/m^2]", "Direct Normal [W/m^2]", "Diffuse Horiz [W/m^2]")
    yield midc(data / "midc_raw_20181018.txt", "MST", tucson), place_of("tucson", 32.23, -110.95, 786, 1, MIDC)
    edinburg = ("Global Horizontal [W/m^2]", "Direct Normal [W/m^2]", "Diffuse Horizontal [W/m^2]")
    yield (
        midc(data / "midc_raw_short_header_20191115.txt", "CST", edinburg),
        place_of("edinburg", 26.31, -98.17, 45, 1, MIDC),
    )
    eugene = (
        read_srml(data / "SRML-day-EUPO1801.txt").tz_convert("UTC")[["ghi_0", "dni_1"]].set_axis(["ghi", "dni"], axis=1)
    )
    yield eugene.assign(dhi=np.nan), place_of("eugene", 44.05, -123.07, 150, 1, SRML)
    yield (
        rmis(
            more / "irradiance_RMIS_NREL.csv",
            [f"irradiance_{name}" for name in ("ghi__7981", "dni__7982", "dhi__7983")],
        ),
        place_of("golden-2019", 39.74, -105.18, 1829, 5, RMIS),
    )
    yield (
        rmis(more / "rmis_weather_data.csv", ("Global Horizontal", "Direct Normal", "Diffuse Horizontal")),
        place_of("golden-2022", 39.74, -105.18, 1829, 5, RMIS),
    )


def complete(table, place):
    """Full hours, without gaps, at the middle of each minute."""
    minute = pd.Timedelta(minutes=place["minutes"])
    first, last = table.index[0].ceil("h"), (table.index[-1] + minute).floor("h")
    full = pd.date_range(first, last, freq=minute, inclusive="left")
    table = table.astype(float).reindex(full)
    position = sun.solar_position(full + minute / 2, place["latitude"], place["longitude"], place["altitude"])
    up = np.cos(np.radians(position.zenith)).clip(0)
    ghi = table["ghi"].clip(lower=0).interpolate(limit=30, limit_direction="both")
    dhi = table["dhi"].where(table["dhi"].notna(), ghi - table["dni"].clip(lower=0) * up).clip(lower=0)
    dhi = np.minimum(dhi.interpolate(limit=30, limit_direction="both"), ghi)
    dni = table["dni"].clip(lower=0).where(table["dni"].notna(), ((ghi - dhi) / np.maximum(up, 0.05)).clip(lower=0))
    light = pd.DataFrame({"ghi": ghi, "dni": dni.where(up > 0, 0.0), "dhi": dhi}, index=full)
    days = light.groupby(full.date)["ghi"].transform(lambda values: values.isna().any())
    return light[~days.to_numpy(bool)]


def write(light, place):
    start = light.index[0]
    rows = light[light["ghi"].round() > 0].round().astype(int)
    rows.insert(0, "minute", ((rows.index - start) // pd.Timedelta(minutes=1)).astype(int))
    head = {key: value for key, value in place.items() if key != "name"} | {
        "start": start.isoformat(), "steps": len(light),
    }  # fmt: skip
    text = "".join(f"# {key}: {value}\n" for key, value in head.items()) + rows.to_csv(index=False, lineterminator="\n")
    # Without a time stamp in its head the file is the same whenever it is made.
    (HERE / f"{place['name']}.csv.gz").write_bytes(gzip.compress(text.encode(), 9, mtime=0))


if __name__ == "__main__":
    HERE.mkdir(exist_ok=True)
    for table, place in stations(*map(Path, sys.argv[1:3])):
        write(complete(table, place), place)
