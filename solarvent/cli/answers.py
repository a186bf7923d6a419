"""Commands that answer about a whole plan: one by one, or all of them on the page that ``serve`` shows."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import click

from solarvent.cli.options import (
    DAY,
    IRRADIANCE,
    STEP,
    TEMPERATURE,
    Whole,
    Within,
    answer,
    format_option,
    full_option,
    leave,
    output_options,
    parts_option,
    units_option,
)
from solarvent.cli.request import Request, about_a_plan, stop_to_mend


@click.command("run")
@click.option("--month", type=Whole(1, 12), help="Month whose clear, broken and overcast days are shown.")
@click.option("--day", type=DAY, help="One day in place of the year, like 07-15.")
@click.option("--step", type=STEP, help='Step within that day, like "10 min".')
@click.option("--ascii", "plain", is_flag=True, help="Plain ASCII in the pictures of the text.")
@click.option("--budget", is_flag=True, help="Only the power budget in Wh: made, usable, used, spilled, missing.")
@about_a_plan("text", "json", "csv", screen=True)
def run_command(
    asked: Request, month: int | None, day: date | None, step: float | None, plain: bool, budget: bool
) -> None:
    """Simulate PLAN (without one, the embedded example) and say what will happen, the verdict first, on one screen.

    The hours of three days, the months and how to read them come with --full.

    Ends with exit code 3 if a finding says stop.

    Example:  solarvent run my-plan.toml --month 7

    Example:  solarvent run my-plan.toml --budget

    Example:  solarvent run my-plan.toml --day 07-15 --step "10 min" --format csv -o july.csv
    """
    from solarvent.findings.verdicts import find
    from solarvent.report import budget_text, data, run_text
    from solarvent.simulation.power_budget import power_budget
    from solarvent.simulation.simulate import simulate
    from solarvent.studies.overview import overview

    if step is not None and day is None:
        raise click.UsageError("--step goes with --day")
    run = simulate(asked.plan, day, step)
    findings = find(run, asked.system)
    if budget:
        energy = power_budget(run, month)
        asked.answer(
            text=lambda: budget_text.render_budget(energy, asked.frame()),
            json=lambda: budget_text.budget_json(energy),
            csv=lambda: budget_text.budget_csv(energy),
        )
    else:
        whole = overview(run, findings, asked.system, month)
        asked.answer(
            text=lambda: run_text.render_run(
                whole, replace(asked.frame(plain), mend=stop_to_mend(asked.path, findings))
            ),
            json=lambda: data.run_json(whole),
            csv=lambda: data.run_csv(run),
        )
    leave(any(finding.level == "stop" for finding in findings))


class _Clock(click.ParamType):
    """A time of day."""

    name = "HH[:MM]"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        hours, _, minutes = str(value).partition(":")
        if hours.isascii() and hours.isdigit() and (minutes or "00").isascii() and (minutes or "00").isdigit():
            number = int(hours) * 60 + int(minutes or 0)
            if len(hours) <= 2 and int(minutes or 0) < 60 and number <= 24 * 60:
                return f"{number // 60:02d}:{number % 60:02d}"
        self.fail(f'"{value}" is no time of day; write it like 12 or 12:30', param, ctx)


_CLOCK = _Clock()


@click.command("airflow")
@click.option("--month", type=Whole(1, 12), help="1 to 12; else the hottest month of need.")
@click.option("--oktas", type=Whole(0, 9), help="Cloud: 0 clear .. 8 overcast, 9 hidden; else all skies.")
@click.option("--cover", type=click.Choice(["thin", "ordinary", "dark"]), help="The kind of cloud at 8 oktas.")
@click.option("--from", "start", type=_CLOCK, help="Clock time from which; else the plan's.")
@click.option("--to", "end", type=_CLOCK, help="Clock time to which; else the plan's.")
@click.option("--step", type=STEP, help='A row for each step, like "10 min", in place of each hour.')
@click.option("--year", is_flag=True, help="The real afternoons of the plan's weather.")
@click.option("--orient", is_flag=True, help="Which tilt and azimuth are best for these hours.")
@about_a_plan("text", "json", "csv", screen=True)
def airflow_command(asked: Request, month: int | None, oktas: int | None, cover: str | None, start: str | None,
            end: str | None, step: float | None, year: bool, orient: bool) -> None:  # fmt: skip
    """Say how much air PLAN (without one, the embedded example) moves in a span of hours under a given sky.

    Ends with exit code 3 if the verdict is that it must not be built so.

    Example:  solarvent airflow my-plan.toml --month 7 --oktas 8 --from 12 --to 18

    Example:  solarvent airflow --month 7 --year

    Example:  solarvent airflow --orient
    """
    from solarvent.report import airflow_text, choices_text, data
    from solarvent.studies.airflow import airflow, best_facing, real_afternoons

    _refuse(oktas, cover, step, year, orient)
    target = asked.plan.record.target
    start, end = start or target.start, end or target.end
    if start == end or (start > end and asked.plan.record.storage is None):
        reason = "" if start == end else ": only with a [battery] that has a capacity fans run over midnight"
        raise click.UsageError(f"--from {start} is not before --to {end}{reason}")
    found: Any
    renderers: Any
    if orient:
        found = best_facing(asked.plan, month, start, end)
        renderers = choices_text.render_orientation, data.orientation_json, data.orientation_csv
    elif year:
        found = real_afternoons(asked.plan, month, start, end)
        renderers = airflow_text.render_year, data.year_json, data.year_csv
    else:
        found = airflow(asked.plan, month, start, end, oktas, cover, step)
        renderers = airflow_text.render_airflow, data.airflow_json, data.airflow_csv
    text, json, csv = renderers
    asked.answer(text=lambda: text(found, asked.frame()), json=lambda: json(found), csv=lambda: csv(found))
    leave(not (year or orient) and found.verdict.level == "stop")


def _refuse(oktas: int | None, cover: str | None, step: float | None, year: bool, orient: bool) -> None:
    """Refuse options that do not go together."""
    if (year and orient) or ((year or orient) and (oktas is not None or step is not None)):
        raise click.UsageError("--year and --orient stand alone: without --oktas, without --step, not together")
    if step is not None and 3600 % step:
        raise click.UsageError(f"--step: {step / 60:g} min is not a whole part of an hour; like 10 min or 15 min")
    if cover is not None and oktas != 8:
        raise click.UsageError("--cover goes with --oktas 8")


@click.command("night")
@click.option("--date", "evening", type=DAY, help="Evening of the first night, like 02-10; else the coldest night.")
@click.option("--nights", type=Whole(1, 14), default=1, show_default=True, help="How many nights in a row.")
@click.option("--hold", type=TEMPERATURE, help='Temperature to be held, like "3 degC"; else what the plants bear.')
@about_a_plan("text", "json", "csv", screen=True)
def night_command(asked: Request, evening: date | None, nights: int, hold: float | None) -> None:
    """Carry PLAN (without one, the embedded example) through its coldest nights: frost, water mass, backup heat.

    Example:  solarvent night my-plan.toml --hold "3 degC"

    Example:  solarvent night --date 02-10 --nights 3
    """
    from solarvent.findings.house import night_findings
    from solarvent.findings.verdicts import night_verdict
    from solarvent.report.night_text import night_csv, night_json, render_night
    from solarvent.simulation.cold_night import cold_night

    night = cold_night(asked.plan, evening, nights, hold)
    # Programs get metric words, whatever the plan's units.
    system = asked.system if asked.form == "text" else "metric"
    findings = list(night_findings(night, system))
    verdict = night_verdict(night, findings, system)
    asked.answer(
        text=lambda: render_night(night, verdict, findings, asked.frame()),
        json=lambda: night_json(night, verdict, findings),
        csv=lambda: night_csv(night),
    )


@click.command("need")
@click.option("--below", type=TEMPERATURE, required=True, help='Not warmer inside than this, like "32 degC".')
@click.option("--outside", type=TEMPERATURE, required=True, help='On a day as warm as this, like "24 degC".')
@click.option("--month", type=Whole(1, 12), help="Whose noon sun shines; else the middle month of need.")
@click.option("--sun", type=IRRADIANCE, help='Sun on the level, like "700 W/m2"; else that of a clear noon.')
@about_a_plan("text", "json")
def need_command(asked: Request, below: float, outside: float, month: int | None, sun: float | None) -> None:
    """Say how many air changes keep the house of PLAN (without one, the embedded example) below a temperature.

    Example:  solarvent need my-plan.toml --below "32 degC" --outside "24 degC"
    """
    from solarvent.house.air_need import need_below
    from solarvent.report.choices_text import need_json, render_need
    from solarvent.simulation.year import temperature_bands

    need, (band, _) = need_below(asked.plan, below, outside, month, sun), temperature_bands(asked.plan)
    asked.answer(
        text=lambda: render_need(asked.plan, need, band, asked.frame()), json=lambda: need_json(asked.plan, need)
    )


@click.command("compare")
@click.argument("left", type=click.Path(path_type=Path))
@click.argument("right", type=click.Path(path_type=Path))
@click.option("--all", "everything", is_flag=True, help="Show what is the same in both, too; with it --full.")
@full_option
@parts_option
@units_option
@format_option("text", "json")
@output_options
def compare_command(left: Path, right: Path, everything: bool, full: bool, parts_folder: Path | None,
                    units: str | None, form: str, output: Path | None, force: bool) -> None:  # fmt: skip
    """Set two plans side by side, differences first: what comes of them, their findings, and their entries.

    The names of plans that ship with the program, "default", "faulty" and "coop", may stand for a file.

    Example:  solarvent compare my-plan.toml bigger-panel.toml
    """
    from solarvent.plan.plan import load_plan
    from solarvent.report.choices_text import compare_json, render_compare
    from solarvent.report.layout import Frame
    from solarvent.studies.compare import compare

    plans = [load_plan(name, parts_folder) for name in (left, right)]
    rows = compare(plans[0], plans[1])
    titles = plans[0].record.title, plans[1].record.title
    if titles[0] == titles[1]:
        # Two trials of one plan keep its title; their files tell them apart.
        titles = f"{titles[0]} ({left})", f"{titles[1]} ({right})"
    answer(
        form, output, force,
        text=lambda: render_compare(
            titles, rows, Frame(units or plans[0].record.units, full=full or everything), everything
        ),
        json=lambda: compare_json(titles, rows),
    )  # fmt: skip


@click.command("checklist")
@click.option("--irradiance", type=Within(50, 1400), show_default="900, a clear noon",
              help="Light on the cells for which the figures hold, in W/m2.")  # fmt: skip
@click.option("--temp-cell", type=Within(-40, 100), show_default="in this light at 20 degC outside",
              help="Temperature of the cells, in degC.")  # fmt: skip
@about_a_plan("text", "markdown", "json")
def checklist_command(asked: Request, irradiance: float | None, temp_cell: float | None) -> None:
    """Write the steps and the shopping list for building PLAN (without one, the embedded example), to be printed.

    Every step says what to do, how to set the meter, what it should show, and what it means if not. Ends with exit code
    3 if the plan would destroy a fan.

    Example:  solarvent checklist my-plan.toml -o checklist.txt
    """
    from solarvent.bench.steps import checklist
    from solarvent.report.bench_text import checklist_data, markdown_checklist, render_checklist
    from solarvent.report.data import to_json

    steps = checklist(asked.plan, irradiance, temp_cell, asked.units)
    asked.answer(
        text=lambda: render_checklist(steps, asked.frame()),
        markdown=lambda: markdown_checklist(steps, asked.note),
        json=lambda: to_json(checklist_data(steps)),
    )
    leave(bool(steps.stops))


@click.command("report")
@click.option("--month", type=Whole(1, 12), help="Month whose clear, broken and overcast days are shown.")
@about_a_plan("html")
def report_command(asked: Request, month: int | None) -> None:
    """Write the whole answer on PLAN (without one, the embedded example) as one page for a browser, phone or printer.

    The page is one HTML file: no network, no other file. Ends with exit code 3 if a finding says stop.

    Example:  solarvent report my-plan.toml -o plan.html
    """
    from solarvent.bench.steps import checklist
    from solarvent.findings.verdicts import find
    from solarvent.report.files import refuse_to_clobber
    from solarvent.report.page import render_page
    from solarvent.simulation.simulate import simulate
    from solarvent.studies.overview import overview

    if asked.output is not None:
        refuse_to_clobber(asked.output, force=asked.force)
    elif sys.stdout.isatty():
        raise click.UsageError("the page is for a browser, not for a terminal: add -o my-plan.html")
    run = simulate(asked.plan)
    findings = find(run, asked.system)
    whole, steps = (
        overview(run, findings, asked.system, month),
        checklist(asked.plan, system=asked.system, known=findings),
    )
    if asked.output is None and hasattr(sys.stdout, "reconfigure"):
        # The page says which letters it is written in, whatever those of the console are.
        sys.stdout.reconfigure(encoding="utf-8")
    asked.answer(html=lambda: render_page(whole, steps, asked.system, asked.note))
    leave(any(finding.level == "stop" for finding in findings))


_WARNING = (
    "Everybody who has this address can see and change the plans of this folder until you end the program. It goes"
    " through your network unencrypted: do this at home, not in a café."
)


@click.command("serve")
@click.argument("place", metavar="[FOLDER-or-PLAN]", type=click.Path(path_type=Path), default=".")
@click.option("--port", type=Whole(0, 65535), default=0, help="Port to listen on; left out or 0: any free one.")
@click.option("--no-browser", is_flag=True, help="Do not open the page in the browser.")
@parts_option
@click.option("--phone", is_flag=True, help="Let a phone of the same network in, too: prints a code for its camera.")
def serve_command(place: Path, port: int, no_browser: bool, parts_folder: Path | None, phone: bool) -> None:
    """Plan by picking and typing, on a page of this machine: place and house, kit, answer, bench.

    The page works with the plan files of FOLDER (without one, the current folder), or begins with one PLAN; they are
    the same files as everywhere. It prints its address, with a key that ends with the program, and opens it in the
    browser. Ctrl-C ends it; what was typed and not saved is there again the next time.

    Example:  solarvent serve my-plan.toml
    """
    from solarvent.base.errors import PlanError
    from solarvent.serve.server import run

    folder, first = place, ""
    if place.is_file():
        if place.suffix != ".toml":
            raise PlanError.single(str(place), "this is no plan file", "its name ends in .toml")
        folder, first = place.absolute().parent, place.stem
    if not folder.is_dir():
        raise PlanError.single(str(place), "there is no such folder and no such plan", "make the folder first")

    def ready(address: str, for_phone: str) -> None:
        click.echo(address)
        if for_phone:
            click.echo(f"\n{_code(for_phone)}\n{for_phone}\n{_WARNING}", err=True)
        if not no_browser:
            click.launch(address)

    run(folder, first, parts_folder, port, phone, ready)


def _code(address: str) -> str:
    """Draw an address for the camera of a phone, in signs of a terminal."""
    import io

    import segno

    drawn = io.StringIO()
    segno.make(address, error="m").terminal(out=drawn, compact=True, border=2)
    return drawn.getvalue()
