"""Other panels and the coldest night, as the page shows them."""

from datetime import date
from xml.etree import ElementTree as ET

import pytest

from solarvent.base.quantities import convert
from solarvent.findings.verdicts import find
from solarvent.report.charts import night_chart, night_words
from solarvent.report.night_text import night_section
from solarvent.report.size_text import panels_section
from solarvent.simulation.cold_night import cold_night
from solarvent.simulation.simulate import simulate
from solarvent.studies.overview import overview


@pytest.fixture(scope="module")
def night(embedded_run):
    return cold_night(embedded_run.plan, run=embedded_run)


@pytest.mark.parametrize(("system", "unit"), [("metric", "m3/h"), ("us", "cfm")])
def test_the_plans_own_panel_is_marked_with_the_air_of_the_run(embedded_overview, system, unit):
    part = panels_section(embedded_overview.panels, system)
    (own,) = [row for row in part.rows if row[0].endswith("*")]
    assert all(len(row) == len(part.headers) for row in part.rows)
    flow = embedded_overview.run.bands["typical"].target_flow
    assert own[part.headers.index(f"air [{unit}]")] == f"{convert(flow, 'flow', unit):.0f}"


def test_of_larger_panels_the_air_grows_with_the_hours_in_which_it_is_enough(embedded_overview):
    part = panels_section(embedded_overview.panels, "metric")
    air = [float(row[part.headers.index("air [m3/h]")]) for row in part.rows]
    assert air == sorted(air)


def test_a_panel_too_strong_for_every_choice_is_said(faulty_day):
    part = panels_section(overview(faulty_day, find(faulty_day)).panels, "metric")
    assert "No panel of the usual sizes suits this plan" in part.lines[0]


def test_a_year_that_was_simulated_gives_the_same_night_as_a_fresh_one(embedded_run, night):
    fresh = cold_night(embedded_run.plan)
    assert fresh.minimum_inside == pytest.approx(night.minimum_inside, abs=1e-6)
    assert fresh.heater_watts == pytest.approx(night.heater_watts, abs=1e-3)


def test_the_night_is_drawn_small_and_told_in_words(embedded_overview, night):
    svg = night_chart(night, "metric")
    ET.fromstring(svg)
    assert len(svg.encode()) < 60_000
    assert f"{night.temp_air.min():.0f} degC" in night_words(night, "metric")
    part = night_section(night, embedded_overview.night_findings, "metric")
    assert any("heater would need" in line or "nothing more is needed" in line for line in part.lines)


def test_a_single_day_has_no_night(small_plan):
    assert overview(simulate(small_plan(), date(2000, 7, 15)), []).night is None
    assert night_section(None, [], "metric") is None
