import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import PlanError
from solarvent.base.findings import Edit
from solarvent.plan.edit import edited, set_key, toml_value
from solarvent.plan.plan import embedded_plan_path

PLAN = """# my plan
[[panel]]
id = "roof" # from the shop

[[fan]]
id = "east"
part = "fan-12v-120x25"   # the left one
# readings = nothing yet

[fan.inlet]
family = "barrel-5.5x2.1"

[[fan]]
part = "fan-12v-120x25"
id = "west"
readings = [[11.2, 0.23]] # June
"""


def test_a_key_is_added_below_the_last_key_of_its_table():
    changed = set_key(PLAN, "fan", "east", "readings", "[[9, 0.2]]")
    assert changed == PLAN.replace("# the left one\n", "# the left one\nreadings = [[9, 0.2]]\n")


def test_a_value_is_replaced_and_the_note_behind_it_stays():
    changed = set_key(PLAN, "fan", "west", "readings", "[[9, 0.2]]")
    assert changed == PLAN.replace("[[11.2, 0.23]] # June", "[[9, 0.2]] # June")


@pytest.mark.parametrize("section", ["fan", "panel"])
def test_a_key_under_its_older_name_is_changed_there_and_never_stands_twice(section):
    old, new = {"fan": ("run_down_voltage", "stop_voltage"), "panel": ("soiling", "soiling_ratio")}[section]
    part = {"fan": "east", "panel": "roof"}[section]
    text = PLAN.replace(f'id = "{part}"', f'id = "{part}"\n{old}   = 1 # as measured in May\nprice = 3')
    changed = set_key(text, section, part, new, "2")
    assert changed == text.replace(f"{old}   = 1 #", f"{new} = 2 #")
    assert set_key(changed, section, part, new, "2") == changed


def test_windows_line_ends_and_a_missing_last_one_survive():
    text = PLAN.rstrip("\n").replace("\n", "\r\n")
    changed = set_key(text, "panel", "roof", "plate_factor", "0.8")
    assert changed == text.replace("from the shop\r\n", "from the shop\r\nplate_factor = 0.8\r\n")
    changed = set_key('[[panel]]\r\nid = "a"', "panel", "a", "plate_factor", "0.8")
    assert changed == '[[panel]]\r\nid = "a"\r\nplate_factor = 0.8\r\n'


@pytest.mark.parametrize(
    ("text", "there", "then"),
    [
        ('fan = [{id = "east"}] # all\n', '"east"}', '"east",readings = [[9, 0.2]]}'),
        (
            '[[fan]]\nid = "east"\nreadings = [\n  [8, 0.2],\n] # now\n',
            "[\n  [8, 0.2],\n]",
            "[[9, 0.2]]",
        ),
        (
            'notes = """\n[[fan]]\n"""\n[[fan]]\nid = "east"\n',
            'id = "east"\n',
            'id = "east"\nreadings = [[9, 0.2]]\n',
        ),
    ],
)
def test_a_file_that_is_laid_out_otherwise_is_changed_too(text, there, then):
    assert set_key(text, "fan", "east", "readings", "[[9, 0.2]]") == text.replace(there, then)


def test_a_part_that_is_not_there_is_told_with_the_line_to_write():
    with pytest.raises(PlanError, match=r"put the line  readings = \[\[9, 0.2\]\]"):
        set_key('[[fan]]\nid = "west"\n', "fan", "east", "readings", "[[9, 0.2]]")


RUNS = """[wiring]
runs = [
    ["roof", "east"],  # short
    ["roof", "west"],
]

# what stands around it
[house]
use = "shed"
"""


@pytest.mark.parametrize(
    ("change", "there", "then"),
    [
        (Edit("wiring", "", "runs", [["roof", "fuse", "east"], ["roof", "west"]]), 'f", "e', 'f", "fuse", "e'),
        (Edit("wiring", "", "contact_resistance", "0.03 ohm"), "]\n\n#", ']\ncontact_resistance = "0.03 ohm"\n\n#'),
        (Edit("house", "", "use", None), 'use = "shed"\n', ""),
        (Edit("house", "", "back.wall", "wood"), '"shed"\n', '"shed"\nback = { wall = "wood" }\n'),
        (Edit("lead", "", "", {"id": "fuse", "fuse": "5 A"}), 'd"\n', 'd"\n\n[[lead]]\nid = "fuse"\nfuse = "5 A"\n'),
    ],
)  # fmt: skip
def test_a_change_leaves_every_note_where_it_is(change, there, then):
    assert edited(RUNS, [change]) == RUNS.replace(there, then)


def test_what_was_added_can_be_taken_out_again():
    added = edited(RUNS, [Edit("lead", "", "", {"id": "fuse"}), Edit("battery", "", "fuse", "5 A")])
    assert tomllib.loads(added)["battery"] == {"fuse": "5 A"}
    back = edited(added, [Edit("lead", "fuse", "", None), Edit("battery", "", "", None)])
    assert tomllib.loads(back) == tomllib.loads(RUNS)


@settings(max_examples=50, deadline=None)
@given(st.sampled_from(["gable-left", "gable-right", "bench"]), st.floats(1, 40), st.floats(0.01, 9))
def test_only_that_one_value_changes_in_the_worked_example(fan, volts, amps):
    text = embedded_plan_path().read_text(encoding="utf-8")
    changed = set_key(text, "fan", fan, "readings", f"[[{volts:.3f}, {amps:.3f}]]")
    before, after = text.splitlines(), changed.splitlines()
    assert len(after) == len(before) + 1
    assert [line for line in after if line in before] == before
    entry = next(one for one in tomllib.loads(changed)["fan"] if one["id"] == fan)
    assert entry["readings"] == [[float(f"{volts:.3f}"), float(f"{amps:.3f}")]]


WORDS = st.text(st.characters(exclude_categories=["Cs"]))
VALUES = st.recursive(
    WORDS | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False, allow_infinity=False) | st.booleans(),
    lambda inside: (
        st.lists(inside, max_size=3) | st.dictionaries(st.from_regex(r"[a-z_]{1,8}", fullmatch=True), inside)
    ),
    max_leaves=6,
)


@given(VALUES)
@settings(max_examples=200, deadline=None)
def test_a_value_is_read_back_as_it_was_written(value):
    assert tomllib.loads(f"key = {toml_value(value)}") == {"key": value}
