import json
import re

import pytest

from solarvent.bench.steps import checklist
from solarvent.report.bench_text import checklist_data, markdown_checklist, render_checklist
from solarvent.report.layout import Frame


@pytest.fixture(scope="module")
def parts(small_plan):
    return checklist(small_plan({"title": "Pea *shed* <b>"}))


def test_text_fits_a_page_and_every_line_to_tick_has_a_box(parts):
    text = render_checklist(parts, Frame())
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    steps, items = parts.steps, parts.shopping
    assert sum(line.startswith("[ ] ") for line in lines) == len(steps) + len(items)
    numbers = [int(found) for found in re.findall(r"^\[ \] +(\d+)  [A-Z]", text, re.M)]
    assert numbers[-len(steps) :] == list(range(1, len(steps) + 1))


def test_cautions_come_before_the_first_step(parts):
    text = render_checklist(parts, Frame())
    assert text.index("off the mains") < text.index("Before opening the box")


def test_markdown_has_boxes_and_does_not_read_the_plan_as_marks(parts):
    text = markdown_checklist(parts)
    steps, items = parts.steps, parts.shopping
    assert text.startswith("# Pea \\*shed\\* \\<b>\n")
    assert text.count("- [ ] ") == len(steps) + len(items)
    assert text.count("\n## ") == 9


def test_data_has_the_promised_keys(parts):
    data = json.loads(json.dumps(checklist_data(parts)))
    assert data["schema"] == "solarvent.checklist/1"
    for step in data["steps"]:
        assert step.keys() == {"phase", "do", "probe", "expect", "tolerance", "otherwise"}
    for item in data["shopping"]:
        assert {"item", "count", "why"} <= item.keys()
    assert data["stops"] == []


def test_a_plan_that_would_destroy_a_fan_begins_with_a_stop(small_plan):
    steps = checklist(small_plan({"fan": [{"id": "one", "part": "fan-12v-80x25"}], "panel.0.part": "panel-50w"}))
    text = render_checklist(steps, Frame())
    assert "STOP  " in text
    assert "(one: In the brightest light" in " ".join(text.split())
    assert len(checklist_data(steps)["stops"]) == 1
