"""The page as text: its sections, its words, what it may fetch, and hostile plans."""

import re
from datetime import date
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from solarvent.bench.steps import checklist
from solarvent.findings.verdicts import find
from solarvent.report import page as page_module
from solarvent.report.layout import clock
from solarvent.report.page import render_page, typeset
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import day_hours, telling_days
from solarvent.studies.overview import overview, turning_span

JULY = date(2000, 7, 15)
SECTIONS = (
    "answer", "findings", "days", "year", "months", "start", "panels", "wiring", "checklist", "night", "assumptions",
    "cautions",
)  # fmt: skip


class Outline(HTMLParser):
    """Collects tags, headings and words."""

    def __init__(self):
        super().__init__()
        self.tags, self.words, self._inside = [], [], ""

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        self._inside = tag

    def handle_data(self, data):
        if self._inside not in ("style", "script"):
            self.words.append(data)


def outline(page):
    reader = Outline()
    reader.feed(page)
    return reader


@pytest.fixture(scope="module")
def page(embedded_overview, embedded_checklist):
    return render_page(embedded_overview, embedded_checklist, "metric")


@pytest.fixture(scope="module")
def read(page):
    return outline(page)


def small_page(loaded, system="metric", **more):
    run = simulate(loaded)
    return render_page(overview(run, find(run, system), system), checklist(loaded, system=system), system, **more)


def test_every_section_is_there_in_order(read):
    found = [attributes["id"] for tag, attributes in read.tags if tag == "section"]
    assert tuple(found) == SECTIONS


def test_every_link_leads_to_a_place_on_the_page(read):
    ids = [attributes["id"] for _, attributes in read.tags if "id" in attributes]
    links = [attributes["href"] for tag, attributes in read.tags if tag == "a"]
    assert links
    assert {link.removeprefix("#") for link in links} <= set(ids)
    assert len(ids) == len(set(ids))


def test_nothing_may_be_fetched_and_nothing_asks_to_be(page, read):
    [policy] = [a["content"] for tag, a in read.tags if a.get("http-equiv") == "Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert "script-src" not in policy
    asked = [a.get("src") or a.get("href") or a.get("xlink:href") or "#" for _, a in read.tags]
    assert all(address.startswith(("#", "data:,")) for address in asked)
    assert not {"script", "img", "image", "iframe", "object", "embed", "base", "form"} & {tag for tag, _ in read.tags}
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)


def test_the_page_is_small(page):
    assert len(page.encode()) < 1_500_000


def test_headings_go_down_one_level_at_a_time(read):
    levels = [int(tag[1]) for tag, _ in read.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))


def test_the_answer_is_three_sentences_with_the_figures_of_the_run(embedded_run, embedded_overview):
    first, second, third = page_module.answer(embedded_overview, "metric")
    start, end = turning_span(day_hours(embedded_run, telling_days(embedded_run, 7)[0].day), 1.0)
    assert f"from {clock(start)} to {clock(end)}" in first
    assert f"{embedded_run.bands['typical'].target_air_changes:.2g} (" in second
    assert third == embedded_overview.verdict.first_sentence


def test_a_stop_is_said_in_the_heading_and_stands_first(faulty_day):
    findings = find(faulty_day)
    page = render_page(overview(faulty_day, findings), checklist(faulty_day.plan), "metric")
    read = outline(page)
    assert "Do not build it like this." in read.words
    classes = [a["class"].split()[1] for tag, a in read.tags if tag == "article"]
    assert classes == sorted(classes, key=["stop", "warn", "note"].index)
    assert classes[0] == "stop"


def test_every_finding_says_what_to_do(read, embedded_findings):
    words = " ".join(read.words)
    for finding in embedded_findings:
        assert typeset(finding.do) in words
        assert typeset(finding.text) in words


def test_every_step_of_the_checklist_has_a_box(read, embedded_checklist):
    steps = embedded_checklist.steps
    boxes = [a["id"] for tag, a in read.tags if tag == "input" and a["type"] == "checkbox"]
    assert [name for name in boxes if name.startswith("step-")] == [f"step-{n + 1}" for n in range(len(steps))]
    words = " ".join(" ".join(read.words).split())
    assert all(typeset(" ".join(step.expect.split())) in words for step in steps if step.expect)


def test_the_map_holds_the_means_of_the_hours(embedded_run, embedded_overview):
    found = page_module.year_map(embedded_overview.by_hour)
    hours = embedded_run.hours
    july_noon = hours[(hours["month"] == 7) & (hours.index.hour == 12)]["air_changes"].mean()
    name, cells = found.rows[6]
    text, tint, need = cells[found.hours.index(12)]
    assert (name, text, need) == ("Jul", f"{july_noon:.0f}", True)
    assert tint == 5
    assert not cells[found.hours.index(8)][2]


def test_the_month_shown_is_the_hottest_of_need_or_the_one_asked_for(
    embedded_run, embedded_findings, embedded_checklist, page
):
    assert "July" in page
    other = render_page(overview(embedded_run, embedded_findings, month=5), embedded_checklist, "metric")
    assert re.search(r"Clear sky, \d+ May", other)


def test_units_of_the_us_are_used_throughout(small_plan):
    words = " ".join(outline(small_page(small_plan(), "us")).words)
    assert "cfm" in words
    assert "°F" in words
    assert " °C" not in words.replace("cells at", "").split("Assumptions")[0].split("Checklist")[0]


def test_units_are_set_as_people_write_them_but_not_in_a_plans_own_spelling():
    assert typeset("270 m3/h in 900 W/m2 at 20 degC") == "270 m³/h in 900 W/m² at 20 °C"
    assert typeset("sun [W/m2]") == "sun [W/m²]"
    assert typeset("curve = [[m3/h, Pa], ...]") == "curve = [[m3/h, Pa], ...]"


HOSTILE = (
    "</title></style><script>alert(1)</script><img src=x onerror=alert(2)> \"quoted' {{ 7*7 }} {% raw %} &amp; \u202e"
)


def test_hostile_words_stand_as_text(small_plan):
    changes = {"title": HOSTILE + "x" * 10_000, "panel.0.name": HOSTILE, "fan.0.name": HOSTILE, "notes": HOSTILE}
    read = outline(small_page(small_plan(changes)))
    assert not {"script", "img"} & {tag for tag, _ in read.tags}
    assert any("<script>alert(1)</script>" in words for words in read.words)
    assert any("{{ 7*7 }}" in words for words in read.words)
    assert max(len(words.strip()) for words in read.words) < 2_000
    assert {a["id"] for tag, a in read.tags if tag == "section"} == set(SECTIONS)


def test_cautions_fit_the_plan(small_plan):
    plain = page_module.cautions(small_plan().record)
    coop = page_module.cautions(small_plan({"house.use": "coop"}).record)
    assert len(coop) == len(plain) + 1
    assert any("60 V" in text for text in plain)
    assert not any("carbon monoxide" in text for text in plain)


def test_a_plan_without_hours_of_need_in_its_weather_still_gets_a_page(small_plan):
    run = simulate(small_plan({"target.months": [1]}), JULY)
    page = render_page(overview(run, find(run)), checklist(run.plan), "metric")
    assert "none of the hours in which air is needed" in page


@pytest.mark.long
def test_the_same_plan_gives_the_same_page(small_plan):
    assert small_page(small_plan()) == small_page(small_plan())
