"""``pair`` as a person with an open box meets it: exit codes, words, JSON, several boxes."""

import json

import pytest

from solarvent.cli import main
from solarvent.plan.library import shipped

NO = {
    *("barrel-2.1-against-2.5", "computer-fan-scrap", "flat-two-pin-reversed"),
    *("trio-right-splitter", "trio-wrong-splitter", "usb-panel-barrel-fan"),
}
ALONE = [name for name in shipped("kits") if not name.startswith("box-of")]

OWN = """
kit_version = 1
title = "From the attic"
[[panel]]
outlet = { family = "flat-two-pin" }
[[fan]]
inlet = { family = "flat-two-pin" }
"""


@pytest.fixture
def called(capsys):
    """Call ``pair`` and give its exit code, output and messages."""

    def call(*args):
        with pytest.raises(SystemExit, match=r"\d") as left:
            main(["pair", *map(str, args)])
        shown = capsys.readouterr()
        return left.value.code, shown.out, shown.err

    return call


def call_first_line(shown):
    """Give the first sentence of a text, on one line."""
    return " ".join(shown.partition("\n\n")[0].split())


@pytest.mark.parametrize("kit", ALONE)
def test_exit_code_three_says_no(called, kit):
    code, shown, _ = called(kit)
    assert code == (3 if kit in NO else 0)
    assert shown.startswith("NO" if kit in NO else "YES")


@pytest.mark.parametrize("kit", [*ALONE, None])
def test_no_line_is_wider_than_a_terminal(called, kit):
    _, shown, _ = called(*([kit] if kit else ["box-of-panel", "box-of-fans"]))
    assert max(map(len, shown.splitlines())) <= 80
    assert shown.isascii()


def test_without_an_argument_the_example_is_shown_and_the_kits_are_named(called):
    code, shown, told = called()
    assert code == 0
    assert shown.startswith("YES - both fans are fed, and every pole is right.")
    assert all(kit in told for kit in shipped("kits"))


def test_a_plan_that_ships_is_told_from_a_kit_with_what_to_type(called):
    code, _, told = called("coop")
    assert code == 1
    assert told.splitlines() == [
        "solarvent: coop: this is a plan that ships, and here a kit or a file is wanted;"
        " its wiring is checked by: solarvent run coop"
    ]


def test_the_wrong_splitter_is_told_what_to_buy_and_where_to_cut(called):
    _, shown, _ = called("trio-wrong-splitter")
    assert shown.startswith("NO - 1 of 3 fans can be fed with what is there.")
    assert shown.index("Least to buy") < shown.index("Then join") < shown.index("Or cut and splice (second choice)")
    assert "1 jack to 3 plugs" in shown


@pytest.mark.parametrize("kit", ["trio-wrong-splitter", "barrel-2.1-against-2.5", "flat-two-pin-reversed"])
def test_what_is_bought_is_added_to_the_boxes_as_it_is_printed(called, tmp_path, kit):
    _, shown, _ = called(kit, "--full")
    assert "--full" not in shown
    entries = shown.partition("stands in a box file as\n")[2].partition("\n\n")[0]
    bought = tmp_path / "bought.toml"
    bought.write_text(f"kit_version = 1\n{entries}\n", encoding="utf-8")
    code, shown, _ = called(kit, str(bought))
    assert code == 0
    assert shown.startswith("YES - ")


def test_one_fan_that_cannot_be_fed_is_one_fan(called):
    assert called("barrel-2.1-against-2.5")[1].startswith("NO - the fan cannot be fed with what is there.")


def test_a_crosser_that_puts_things_right_is_a_plain_yes(called):
    _, shown, _ = called("flat-two-pin-crosser")
    assert shown.startswith("YES")
    assert "Neither" not in shown
    assert "pole: right" in shown


def test_the_usual_box_is_yes_after_metering_with_the_meter_step(called):
    code, shown, _ = called("trio-unmetered")
    assert code == 0
    assert shown.startswith("YES, AFTER METERING")
    assert "Meter at the last plug" in shown
    assert "with the panel covered" in shown


def test_a_stop_that_no_purchase_mends_offers_none(called, tmp_path):
    path = tmp_path / "box.toml"
    path.write_text(OWN.replace("[[panel]]", '[[battery]]\nvoltage = "12 V"'), encoding="utf-8")
    code, shown, _ = called(path)
    assert code == 3
    assert "battery-without-fuse" in shown
    assert "Neither" not in shown


def test_a_box_of_ones_own_is_answered(called, tmp_path):
    path = tmp_path / "attic.toml"
    path.write_text(OWN, encoding="utf-8")
    code, shown, _ = called(path)
    # Nothing is known of its parts: a typical 12 V fan gets too much straight on a typical panel.
    assert code == 3
    assert "From the attic" in shown
    assert "typical figures of panel and fan" in shown


@pytest.mark.parametrize("kit", ALONE)
def test_the_json_has_the_promised_keys(called, kit):
    code, shown, _ = called(kit, "--format", "json")
    data = json.loads(shown)
    assert data["schema"] == "solarvent.pair/1"
    assert data["feasible"] in ("yes", "after_metering", "no")
    assert (data["feasible"] == "no") == (data["verdict"]["level"] == "stop") == (code == 3)
    assert call_first_line(called(kit)[1]) == data["verdict"]["sentence"]
    for join in data["joins"] + data["joins_after_buying"]:
        assert {"from", "to", "mates", "polarity"} <= join.keys()
        assert join["polarity"] in ("kept", "reversed", "unknown")
    assert all({"item", "why"} <= item.keys() for item in data["buy"])
    assert all({"at", "why"} <= cut.keys() for cut in data["splice"])
    assert all({"level", "code", "part", "text", "value", "limit"} <= finding.keys() for finding in data["findings"])


def test_the_answer_goes_to_a_file_that_is_not_overwritten(called, tmp_path):
    path = tmp_path / "answer.json"
    assert called("trio-unmetered", "--format", "json", "-o", path)[0] == 0
    assert json.loads(path.read_text(encoding="utf-8"))["feasible"] == "after_metering"
    code, _, told = called("trio-unmetered", "-o", path)
    assert code != 0
    assert "--force" in told


@pytest.mark.parametrize(
    ("argument", "words"),
    [("trio-rihgt-splitter", 'did you mean "trio-right-splitter"'), ("box-of-fans", "there is no panel in the box")],
)
def test_a_slip_is_told_in_a_line(called, argument, words):
    code, _, told = called(argument)
    assert code == 1
    assert words in told


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ('inlet = { family = "usb-a", body = "plug" }\noutlet = { family = "nothing" }', 'no connector "nothing"'),
        ('inlet = { family = "usb-a", body = "sideways" }\noutlet = { family = "usb-a", body = "jack" }', "sideways"),
        ('inlet = 5\noutlet = "x"', "must be a table"),
    ],
)
def test_a_broken_part_of_ones_own_is_told_where_something_is_to_be_bought(called, tmp_path, entry, words):
    (tmp_path / "leads.toml").write_text(f'parts_version = 1\n[mine]\nname = "x"\n{entry}\n', encoding="utf-8")
    code, _, told = called("trio-wrong-splitter", "--parts", tmp_path)
    assert code == 1
    assert 'leads "mine"' in told
    assert words in told


@pytest.mark.parametrize("kind", ["panels", "fans", "converters", "splitters"])
def test_a_broken_part_of_ones_own_that_nothing_needs_spoils_nothing(called, tmp_path, kind):
    (tmp_path / f"{kind}.toml").write_text('parts_version = 1\n[mine]\nname = "x"\nwatts = "5"\n', encoding="utf-8")
    assert called("trio-right-splitter", "--parts", tmp_path)[0] == 3


def test_the_free_end_of_a_splitter_that_is_fed_through_a_branch_is_told(called, tmp_path):
    plug = 'family = "barrel-5.5x2.1", body = "plug", positive = "centre"'
    (tmp_path / "box.toml").write_text(
        f"kit_version = 1\n[[panel]]\noutlet = {{ {plug} }}\n[[fan]]\ncount = 2\ninlet = {{ {plug} }}\n",
        encoding="utf-8",
    )
    _, shown, _ = called(tmp_path / "box.toml")
    assert "its trunk stays free, tape it" in " ".join(shown.split())


def test_a_box_that_is_taken_for_a_plan_is_told_what_to_do_with_it(tmp_path, capsys):
    (tmp_path / "box.toml").write_text(OWN, encoding="utf-8")
    with pytest.raises(SystemExit, match="1"):
        main(["run", str(tmp_path / "box.toml")])
    told = capsys.readouterr().err
    assert "says what is in a box, and is no plan; pair it: solarvent pair" in told
    assert len(told.splitlines()) == 1
