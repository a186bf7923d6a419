"""Pages on disk and one headless browser for all tests of this folder."""

import os

import browser as chromium
import pytest

from solarvent.bench.steps import checklist
from solarvent.findings.verdicts import find
from solarvent.plan.plan import load_plan
from solarvent.report.page import render_page
from solarvent.simulation.simulate import simulate
from solarvent.studies.overview import overview

HOSTILE = (
    "</title></style><script>document.title='broken'</script><img src=http://x.invalid/a.png> \"'\u202e{{ 7*7 }}&amp;"
)


def write_page(folder, name, loaded):
    """Write the page of a plan; give its address."""
    run = simulate(loaded)
    path = folder / f"{name}.html"
    path.write_text(render_page(overview(run, find(run)), checklist(loaded), "metric"), encoding="utf-8")
    return path.as_uri()


@pytest.fixture(scope="session")
def pages(tmp_path_factory, small_plan):
    """Addresses of three pages: the embedded plan, the faulty one, and one with hostile names."""
    folder = tmp_path_factory.mktemp("pages")
    fans = [{"id": f"a-name-as-long-as-may-be-{number:08d}", "part": "fan-24v-120x25"} for number in range(4)]
    hostile = small_plan(
        {"title": HOSTILE + "x" * 10_000, "panel.0.name": HOSTILE * 3, "fan.0.name": HOSTILE, "fan": fans}
    )
    loaded = {"embedded": load_plan(), "faulty": load_plan("faulty"), "hostile": hostile}
    return {name: write_page(folder, name, plan) for name, plan in loaded.items()}


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    """A running browser; skipped with a message where there is none, unless it is required."""
    program = chromium.find()
    if program is None:
        if os.environ.get("SOLARVENT_REQUIRE_OUTSIDE"):
            pytest.fail("chromium is missing, and SOLARVENT_REQUIRE_OUTSIDE is set")
        pytest.skip("chromium is not installed: the page is not looked at in a browser")
    running = chromium.Browser(program, tmp_path_factory.mktemp("profile"))
    yield running
    running.close()
