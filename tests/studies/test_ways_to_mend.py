"""Every way to mend a finding is an edit that a plan file takes, whichever part it is asked for."""

import tomllib

import pytest
from sampled import one_in
from test_mending import PLANS, written

from solarvent.base.errors import SolarventError
from solarvent.base.findings import Finding
from solarvent.plan.connectors import read_families
from solarvent.plan.edit import edited
from solarvent.plan.plan import plan_from
from solarvent.studies.mending import WAYS
from solarvent.studies.mending_joints import Case
from solarvent.studies.mending_volts import HOUSE_EDITS
from solarvent.wiring.harness import build_harness


def entries(content):
    """Parts of the wiring by section and id."""
    sections = ("panel", "fan", "lead", "splitter", "converter")
    lists = {section: content[section] for section in sections if isinstance(content.get(section), list)}
    return {(section, one["id"]): one for section, parts in lists.items() for one in parts}


@pytest.mark.parametrize("name", one_in(4, PLANS))
def test_every_way_is_an_edit_that_the_file_takes(name):
    text = written(PLANS[name][0])
    content = tomllib.loads(text)
    plan = plan_from(content)
    harness, families = build_harness(plan), read_families(plan.library)
    tried = []
    # One code of each way will do, but where one way serves for many things.
    for code, ways in {ways if code not in HOUSE_EDITS else code: (code, ways) for code, ways in WAYS.items()}.values():
        # One part of each kind will do: the ways ask for the kind.
        for part in {type(one): name for name, one in harness.parts.items()}.values():
            found = (Finding("stop", code, part, "It is wrong.", "Mend it.", 1.0, 1.0),)
            for mending in ways(Case(plan, content, harness, families, found)):
                assert mending.words.endswith(".")
                if mending.changes in tried:
                    continue
                try:
                    changed = edited(text, mending.changes)
                except SolarventError:
                    continue
                before, after = entries(content), entries(tomllib.loads(changed))
                # Whoever reads "Get ..." finds it on the shopping list.
                for one in after if mending.words.startswith("Get ") else ():
                    if one not in before or before[one].get("part") != after[one].get("part"):
                        assert after[one]["owned"] is False, mending.words
                tried.append(mending.changes)
    assert len(tried) > 10
