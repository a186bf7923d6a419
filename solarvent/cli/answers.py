"""Commands that answer about a whole plan: ``run``, ``night``, ``need``, ``compare``, ``checklist``, ``report``."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import click

from solarvent.cli.options import (
    DAY,
    IRRADIANCE,
    STEP,
    TEMPERATURE,
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
@click.option("--month", type=click.IntRange(1, 12), help="Month whose clear, broken and overcast days are shown.")
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


@click.command("night")
@click.option("--date", "evening", type=DAY, help="Evening of the first night, like 02-10; else the coldest night.")
@click.option("--nights", type=click.IntRange(1, 14), default=1, show_default=True, help="How many nights in a row.")
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
@click.option("--month", type=click.IntRange(1, 12), help="Whose noon sun shines; else the middle month of need.")
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
@click.option("--month", type=click.IntRange(1, 12), help="Month whose clear, broken and overcast days are shown.")
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
