"""Every command that judges a plan says the same verdict and the same first thing to do."""

import json
import re
from html import unescape

import pytest
from in_process import solarvent
from sampled import sampled

from solarvent.report.page import typeset


def plain(text):
    return " ".join(text.split())


@pytest.mark.parametrize("name", sampled(["default"], ["faulty", "coop"]))
def test_text_json_page_and_compare_agree(name, tmp_path):
    given = json.loads(solarvent("run", name, "--format", "json").stdout)
    verdict, worst = given["verdict"], [one for one in given["findings"] if one["level"] != "note"]
    assert verdict["first"]["do"] == worst[0]["do"]
    text = plain(solarvent("run", name).stdout)
    assert (
        text.index(verdict["sentence"]) < text.index(verdict["first"]["do"]) < text.index("Next: solarvent checklist")
    )
    solarvent("report", name, "-o", tmp_path / "page.html")
    page = plain(unescape(re.sub(r"<[^>]+>", " ", (tmp_path / "page.html").read_text(encoding="utf-8"))))
    assert page.index(verdict["sentence"]) < page.index(typeset(verdict["first"]["do"]))
    rows = {row["what"]: row for row in json.loads(solarvent("compare", name, name, "--format", "json").stdout)["rows"]}
    assert rows["verdict"]["left"] == rows["verdict"]["right"] == verdict["sentence"]
    for figure in verdict["figures"][1:]:
        assert rows[figure["what"]]["left"] == pytest.approx(figure["value"])
