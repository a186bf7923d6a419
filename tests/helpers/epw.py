"""The year that ships as an EPW file."""

from solarvent.weather.reading import embedded_weather

HEADER = [
    "LOCATION,Brambleford,-,XXX,TMY3,999999,36.10,-79.95,-5.0,273.0",
    "DESIGN CONDITIONS,0",
    "TYPICAL/EXTREME PERIODS,0",
    "GROUND TEMPERATURES,0",
    "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
    "COMMENTS 1,made for a test",
    "COMMENTS 2,",
    "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
]


def epw_rows(years=None, leap_day=False):
    """35 fields an hour, hours 1 to 24; the months from two years unless they are given."""
    weather = embedded_weather()
    rows = []
    for start, hour in zip(weather.index, weather.itertuples(), strict=True):
        year = years or (1998 if start.month < 7 else 2003)
        rows.append(
            [
                year, start.month, start.day, start.hour + 1, 60, "?9" * 20, f"{hour.temp_air:.1f}", "5.0",
                f"{hour.relative_humidity:.0f}", f"{hour.pressure:.0f}", 0, 0, 320, f"{hour.ghi:.0f}",
                f"{hour.dni:.0f}", f"{hour.dhi:.0f}", 0, 0, 0, 0, f"{hour.wind_direction:.0f}",
                f"{hour.wind_speed:.1f}", f"{hour.total_cover / 0.8:.0f}", f"{hour.opaque_cover / 0.8:.0f}", 16.0,
                77777, 9, 999999999, 20, 0.1, 0, 88, 0.2, 0, 1,
            ]
        )  # fmt: skip
    if leap_day:
        start = 59 * 24
        extra = [[row[0], 2, 29, *row[3:]] for row in rows[start - 24 : start]]
        rows[start:start] = extra
    return [[str(field) for field in row] for row in rows]
