"""``solarvent weather``."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import click

from solarvent.cli.options import Within, answer, deliver, format_option, output_options, say

_EMBEDDED_NOTE = "No file was given: this is the year that comes with the program."


@click.group("weather")
def weather_command() -> None:
    """Look at an hourly weather file, or fetch one."""


@weather_command.command("look", short_help="Check a file and sum it up.")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", envvar="SOLARVENT_UNITS",
              show_envvar=True, show_default=True, help="Units of the text.")  # fmt: skip
@format_option("text", "json", "csv")
@output_options
def look(file: Path | None, units: str, form: str, output: Path | None, force: bool) -> None:
    """Check FILE (TMY3, EPW or the plain CSV) and sum it up: light and cloud by month, heat, wind, what is missing.

    Example:  solarvent weather look my-year.epw
    """
    from solarvent.report.weather_text import render_weather, weather_csv, weather_json
    from solarvent.weather.reading import embedded_weather, read_weather
    from solarvent.weather.span import summarise

    summary = summarise(embedded_weather() if file is None else read_weather(file))
    answer(
        form, output, force,
        text=lambda: render_weather(summary, units, _EMBEDDED_NOTE if file is None else ""),
        json=lambda: weather_json(summary),
        csv=lambda: weather_csv(summary),
    )  # fmt: skip
    if form == "text" and file is not None:
        say(f"Next: put file = '{file}' under [weather] of your plan, in place of the line with climate or file")


@weather_command.command("fetch", short_help="Fetch a year of hours for a place (uses the network).")
@click.option("--lat", "latitude", type=click.FloatRange(-90, 90), required=True, help="Degrees, north positive.")
@click.option("--lon", "longitude", type=click.FloatRange(-180, 180), required=True, help="Degrees, east positive.")
@click.option("--year", type=int, help="2001 or later; without it, the last that is likely to be whole.")
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), metavar="FILE", help="Write to FILE.")
@click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")
@click.option("--timeout", type=Within(1, 3600), default=120.0, show_default=True,
              help="Seconds for one attempt; there are at most three.")  # fmt: skip
@click.option("--url", hidden=True, help="Another server that speaks as the service does.")
def fetch(latitude: float, longitude: float, year: int | None, output: Path, force: bool, timeout: float,
          url: str | None) -> None:  # fmt: skip
    """Fetch a year of hours for a place from the NASA POWER service, and write it as a weather file.

    This is the one command that uses a network. It sends the latitude, the longitude and the year, and nothing else.

    Example:  solarvent weather fetch --lat 51.5 --lon -2.6 --year 2023 -o my-2023.csv
    """
    from solarvent.report.files import refuse_to_clobber
    from solarvent.report.weather_text import weather_file
    from solarvent.weather.fetch import default_year, fetch_weather

    refuse_to_clobber(output, force=force)
    chosen = default_year(date.today()) if year is None else year
    show = _progress if sys.stderr.isatty() else _silence
    try:
        weather = fetch_weather(latitude, longitude, chosen, url=url, timeout=timeout, tell=show)
    finally:
        show("")
    deliver(weather_file(weather), output, force)
    say(f"Next: solarvent weather look {output}")


def _progress(words: str) -> None:
    """Write over the last line of a terminal."""
    click.echo(f"\r{words[:79]:<79}\r", nl=False, err=True)


def _silence(words: str) -> None:
    """Say nothing where nobody watches."""
