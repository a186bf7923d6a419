"""Every way to mend a finding is an edit that a plan file takes, whichever part it is asked for."""

import tomllib

import pytest
from test_mending import PLANS, written

from solarvent.base.errors import SolarventError
from solarvent.base.findings import Finding
from solarvent.plan.connectors import read_families
from solarvent.plan.edit import edited
from solarvent.plan.plan import plan_from
from solarvent.studies.mending import WAYS
from solarvent.studies.mending_joints import Case
from solarvent.wiring.harness import build_harness


@pytest.mark.parametrize("name", PLANS)
def test_every_way_is_an_edit_that_the_file_takes(name):
    text = written(PLANS[name][0])
    plan = plan_from(tomllib.loads(text))
    harness, families = build_harness(plan), read_families(plan.library)
    tried = 0
    for code, ways in WAYS.items():
        # One part of each kind will do: the ways ask for the kind.
        for part in {type(one): name for name, one in harness.parts.items()}.values():
            found = (Finding("stop", code, part, "It is wrong.", "Mend it.", 1.0, 1.0),)
            for mending in ways(Case(plan, tomllib.loads(text), harness, families, found)):
                assert mending.words.endswith(".")
                try:
                    changed = edited(text, mending.changes)
                except SolarventError:
                    continue
                tomllib.loads(changed)
                tried += 1
    assert tried > 10
