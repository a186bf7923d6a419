"""One simulated day and its bench, shared by the tests of the page and its pictures."""

from datetime import date

import pytest

from solarvent.bench.steps import checklist
from solarvent.findings.verdicts import find
from solarvent.plan.plan import load_plan
from solarvent.simulation.simulate import simulate
from solarvent.studies.overview import overview

JULY = date(2000, 7, 15)


@pytest.fixture(scope="session")
def embedded_run():
    return simulate(load_plan())


@pytest.fixture(scope="session")
def embedded_findings(embedded_run):
    return find(embedded_run)


@pytest.fixture(scope="session")
def embedded_overview(embedded_run, embedded_findings):
    return overview(embedded_run, embedded_findings)


@pytest.fixture(scope="session")
def embedded_checklist(embedded_run):
    return checklist(embedded_run.plan)


@pytest.fixture(scope="session")
def faulty_day():
    return simulate(load_plan("faulty"), JULY)
