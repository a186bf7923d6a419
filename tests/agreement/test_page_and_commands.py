"""What the page says of a plan is what the commands say of the file that it saves."""

import html
import json
import re

import pytest
import tomlkit
from in_process import solarvent
from random_plans import random_plan
from sampled import sampled
from visitor import Visitor

from solarvent.plan.library import shipped_text
from solarvent.plan.plan import load_plan

EMBEDDED = {"embedded": "latitude 36.1, longitude -79.95"}


def in_words(page, element):
    """Words of one part of a page."""
    found = re.search(rf'<(\w+)[^>]* id="{element}".*?(?=<section|<footer|<div id="part|$)', page, re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", found[0])).split())


@pytest.fixture
def visitor(tmp_path):
    """Somebody at the page, in a folder that is empty yet."""
    here = Visitor(tmp_path)
    yield here
    here.close()


@pytest.fixture
def saved(visitor, tmp_path):
    """Begin with a text, change it by a form, and save it; gives the path of the file."""

    def save(text, **fields):
        visitor.post("/begin", name="mine", way="text", text=text)
        visitor.change("mine", **fields)
        visitor.do("mine", "save")
        return tmp_path / "mine.toml"

    return save


@pytest.mark.parametrize("name", sampled(["coop"], ["default", "faulty", 4, 7]))
def test_verdict_findings_and_first_deed_are_those_of_run(visitor, saved, name):
    by_chance = isinstance(name, int)
    text = tomlkit.dumps(random_plan(name, EMBEDDED)) if by_chance else shipped_text(name)
    path = saved(text, target__rise="7 K")
    told = json.loads(solarvent("run", path, "--format", "json").stdout)
    page = visitor.part("mine", "year")
    verdict = in_words(visitor.part("mine", "verdict"), "part-verdict")
    assert verdict.startswith(told["verdict"]["sentence"])
    year = in_words(page, "part-year")
    for finding in told["findings"]:
        assert finding["code"] in year
        assert " ".join(finding["do"].split()).replace("m2", "m²")[:40] in year.replace("m2", "m²")
    page_codes = set(re.findall(r"<code>([a-z0-9-]+)</code>", page.partition('id="part-year"')[2]))
    assert page_codes == {finding["code"] for finding in told["findings"]}


def test_start_and_stop_are_those_of_run(visitor, saved):
    path = saved(shipped_text("default"), panel__0__tilt="20")
    days = in_words(visitor.part("mine", "days"), "part-days")
    from solarvent.simulation.simulate import simulate

    for name, limits in simulate(load_plan(path)).bands["typical"].thresholds.items():
        assert f"{name} {limits.start_irradiance:.0f} (" in days
        assert f" {limits.run_down_irradiance:.0f} (" in days


def test_boxes_are_judged_as_by_pair(visitor, tmp_path):
    visitor.begin("mine", "boxes")
    for fields in (
        {"kind": "panel", "part": "panel-30w", "end__outlet": "barrel-5.5x2.5/plug", "positive__outlet": "centre"},
        {"kind": "fan", "part": "fan-24v-120x25", "count": "2", "end__inlet": "barrel-5.5x2.1/jack", "box": "1"},
    ):
        assert visitor.do("mine", "box", room="kit", **fields).status_code == 200
    files = []
    for number in (0, 1):
        files.append(tmp_path / f"box-{number}.toml")
        files[-1].write_text(visitor.get(f"/plan/mine/box/{number}").text, encoding="utf-8")
    told = json.loads(solarvent("pair", *files, "--format", "json").stdout)
    page = visitor.part("mine", "pairing", "kit")
    assert f'class="big {told["feasible"]}"' in page
    words = in_words(page, "part-pairing")
    assert told["findings"]
    assert all(finding["code"] in words for finding in told["findings"])
    assert all(item["part"] in page for item in told["buy"])


@pytest.mark.long
def test_readings_mean_what_meter_says(visitor, saved):
    path = saved(shipped_text("default"))
    visitor.do("mine", "readings", room="bench", read__volts__bench="0.4", read__amperes__bench="0.9",
                 read__light="900")  # fmt: skip
    words = in_words(visitor.part("mine", "meaning", "bench"), "part-meaning")
    told = json.loads(
        solarvent("meter", path, "--fan", "bench=0.4V/0.9A", "--irradiance", "900", "--format", "json").stdout
    )
    [circuit] = told["circuits"]
    places = [words.index(each["text"][:30]) for each in circuit["ranking"] if each["text"][:30] in words]
    assert len(places) >= 2
    assert places == sorted(places)


@pytest.mark.long
def test_what_a_button_mends_is_what_new_mend_writes(visitor, saved):
    # 12 V fans straight on a "12 V" panel.
    path = saved(shipped_text("default").replace("fan-24v-120x38", "fan-12v-120x38"))
    code = re.search(r'do/mend\?code=([a-z-]+)"', visitor.part("mine", "verdict"))[1]
    answer = visitor.do("mine", "mend", room="place", code=code)
    assert answer.status_code == 200
    solarvent("new", path, "--mend", code)
    assert path.read_text(encoding="utf-8").strip() == visitor.file("mine").strip()
