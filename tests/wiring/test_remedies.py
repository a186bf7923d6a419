"""What to buy and where to cut: what it costs, how it is said, and nothing for nothing."""

import pytest

from solarvent.plan.boxes import load_box
from solarvent.plan.connectors import read_families
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector
from solarvent.studies.pair import pair
from solarvent.wiring import remedies as module
from solarvent.wiring.joints import Polarity, fit
from solarvent.wiring.remedies import Remedies, chain, goods_of, remedies

PLUG, JACK = ('{{ family = "barrel-5.5x{}", body = "{}", positive = "centre" }}'.format(*end) for end in
              (("2.1", "plug"), ("2.5", "jack")))  # fmt: skip
EXPOSED, SHROUDED = (f'{{ family = "flat-two-pin", positive = "{contact}" }}' for contact in ("exposed", "shrouded"))
BARREL, BARREL_JACK = (Connector(family="barrel-5.5x2.1", body=body) for body in ("plug", "jack"))
FLAT, PV_PLUG = Connector(family="flat-two-pin"), Connector(family="pv-4mm", body="plug")
FLAT_SPLITTER = """
[[splitter]]
id = "y"
branches = 2
crosses = false
trunk = { family = "flat-two-pin" }
branch = { family = "flat-two-pin" }
"""


@pytest.fixture
def box(tmp_path):
    """Make boxes of panels and fans, by id, with the text of whatever else is in them."""

    def make(panels, fans, more=""):
        text = "kit_version = 1\n" + more
        text += "".join(
            f'[[panel]]\nid = "{name}"\npart = "panel-10w"\noutlet = {end}\n' for name, end in panels.items()
        )
        text += "".join(
            f'[[fan]]\nid = "{name}"\npart = "fan-12v-120x25"\ninlet = {end}\n' for name, end in fans.items()
        )
        (tmp_path / "box.toml").write_text(text, encoding="utf-8")
        return load_box([str(tmp_path / "box.toml")])

    return make


@pytest.mark.parametrize("fans", [1, 3, 14])
def test_a_piece_costs_one_and_a_splice_every_end_that_is_cut(box, monkeypatch, fans):
    asked = []

    def search(supplies, pieces, families, prices, suits, strict, kit_of, gives):
        assert strict
        asked.append(({name for name in pieces if name not in boxes.parts}, prices))

    monkeypatch.setattr(module, "search", search)
    boxes = box({"west": PLUG}, {f"fan-{number}": JACK for number in range(fans)})
    assert remedies(boxes, [], boxes.parts, None) == Remedies()
    (goods, shop), (splices, cuts) = asked
    assert {"new-adapter-2.1-jack-to-2.5-plug", "new-flat-two-pin-to-two-crossing"} < goods
    assert shop == dict.fromkeys(goods, (1, fans))
    # One supply is cut and one end of each way on: a splice of twelve ways is as much as anybody can hold.
    assert cuts == {f"splice-{ways}": (1 + ways, fans) for ways in range(1, min(fans, 12) + 1)}
    assert splices == set(cuts)


def test_two_of_a_piece_are_one_purchase_that_says_where_both_go(box):
    answer = pair(box({"west": PLUG, "south": PLUG}, {"a": JACK, "b": JACK}))
    (bought,) = answer.buy
    assert (bought.part, bought.count, bought.section) == ("adapter-2.1-jack-to-2.5-plug", 2, "lead")
    assert bought.item.startswith("barrel 2.1 to 2.5 adapter - in: barrel 5.5 x 2.1 mm jack (pin")
    assert bought.why == "goes from west and south to a and b"
    assert len(answer.after_buying) == 4
    last = {line.sink: (line.source.rpartition("-")[0], line.polarity) for line in answer.after_buying}
    assert last["a"] == last["b"] == ("new-adapter-2.1-jack-to-2.5-plug", "kept")


def test_two_panels_are_cut_for_a_fan_each(box):
    answer = pair(box({"west": PLUG, "south": PLUG}, {"a": JACK, "b": JACK}))
    assert len(answer.splice) == 2


def test_one_splice_of_three_ends_is_less_than_two_of_two(box):
    answer = pair(box({"west": PLUG}, {"a": JACK.replace("centre", "sleeve"), "b": JACK}))
    (cut,) = answer.splice
    panel = "west"
    end = "the barrel 5.5 x 2.5 mm jack of"
    assert cut.at == f"behind the barrel 5.5 x 2.1 mm plug of {panel} and before {end} a; {end} b"
    assert cut.why == (
        f"cut these connectors off and join + to + and - to -. The + is: {panel}: the conductor of its centre contact;"
        " a: the conductor of its sleeve contact; b: the conductor of its centre contact"
    )


def test_what_is_there_already_spares_a_splitter_and_a_cut(box):
    # By hand: behind the straight splitter the fans a and b turn rightly if the + enters at its exposed contact, and c
    # at the shrouded one; so one splitter that crosses behind it, or one cut of three ends, with a and b left alone.
    answer = pair(box({"west": PLUG}, {"a": EXPOSED, "b": EXPOSED, "c": SHROUDED}, FLAT_SPLITTER))
    lead, splitter = answer.buy
    assert (lead.part, lead.count, lead.section) == ("flat-two-pin-to-jack-barrel-5.5x2.1", 1, "lead")
    assert (splitter.part, splitter.count, splitter.section) == ("flat-two-pin-to-two-crossing", 1, "splitter")
    assert (lead.why, splitter.why) == ("goes from west to y", "goes from y to a and b")
    (cut,) = answer.splice
    assert (
        cut.at == "behind the barrel 5.5 x 2.1 mm plug of west and before the flat two-pin of c; the flat two-pin of y"
    )
    assert cut.why.endswith(
        "west: the conductor of its centre contact; c: the conductor of its shrouded contact;"
        " y: the conductor of its exposed contact"
    )


@pytest.mark.parametrize("panels", [{"west": PLUG, "south": EXPOSED}, {"south": EXPOSED, "west": PLUG}])
def test_what_fits_already_is_not_cut(box, panels):
    answer = pair(box(panels, {"a": SHROUDED, "b": JACK}, FLAT_SPLITTER))
    (cut,) = answer.splice
    assert cut.at == "behind the barrel 5.5 x 2.1 mm plug of west and before the barrel 5.5 x 2.5 mm jack of b"


def test_two_leads_of_the_shop_in_line_are_named_without_the_mark_of_the_shop(box):
    answer = pair(box({"west": PLUG}, {"a": JACK.replace("centre", "sleeve")}))
    assert len(answer.buy) == 2
    assert not any("new-" in item.part + item.item + item.why for item in answer.buy)
    assert [line.polarity for line in answer.after_buying] == ["kept", "reversed", "kept"]


@pytest.mark.parametrize("crosses", [Polarity.KEPT, Polarity.REVERSED])
@pytest.mark.parametrize(
    ("first", "second"),
    [(BARREL, BARREL_JACK), (BARREL, FLAT), (FLAT, BARREL_JACK), (FLAT, FLAT), (PV_PLUG, BARREL_JACK)],
)
def test_a_row_of_leads_fits_from_end_to_end_does_to_the_poles_what_is_asked_and_is_the_shortest(
    first, second, crosses
):
    families, goods = read_families(Library()), goods_of(Library())
    rows = chain(first, second, crosses, families, goods, most=2)
    metres = []
    for row in rows:
        end, poles = first, Polarity.KEPT
        for _, use in row:
            assert fit(end, use.connector, families).mates
            end, poles = use.gives, poles.through(use.crosses)
        assert fit(end, second, families).mates
        assert poles is crosses
        assert all(goods[name].diode is None for name, _ in row)
        metres.append(sum(goods[name].length for name, _ in row))
    assert metres == sorted(metres)
    # No shorter row does it: where there is one of two pieces, none of one does.
    if len({len(row) for row in rows}) == 1 and len(rows[0]) == 2:
        assert chain(first, second, crosses, families, goods, most=1) == []
    assert rows
