import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import PlanError
from solarvent.bench.metering import Measurement, parse_readings

PANELS, FANS = ["roof"], ["east", "west"]


def read(**words):
    return parse_readings(PANELS, FANS, **words)


def test_readings_of_a_lone_panel_need_no_id():
    taken = read(panel_open=["20.4V"], panel_short=["0.9 A"], panel_joined=["17.8V/0.45A"])
    assert taken.panel_open == {"roof": 20.4}
    assert taken.panel_short == {"roof": 0.9}
    assert taken.panel_joined == {"roof": Measurement(17.8, 0.45)}


def test_a_fan_is_read_in_any_order_with_what_was_seen():
    taken = read(fan=["east=0.23A/11.2V/turns", "west=450mV"])
    assert taken.fans == {"east": Measurement(11.2, 0.23, "turns"), "west": Measurement(0.45)}
    assert read(fan=["east=11.2V, 0.23A; turns"]).fans == {"east": Measurement(11.2, 0.23, "turns")}


def test_a_minus_sign_is_kept_for_volts():
    assert read(panel_open=["-20.4V"]).panel_open == {"roof": -20.4}


def test_several_panels_want_their_ids():
    taken = parse_readings(["a", "b"], FANS, panel_open=["b=21V"])
    assert taken.panel_open == {"b": 21.0}
    with pytest.raises(PlanError, match=r'"21V" does not say where; write it like "a=\.\.\."'):
        parse_readings(["a", "b"], FANS, panel_open=["21V"])


@pytest.mark.parametrize(
    ("option", "text", "message"),
    [
        ("panel_open", "20.4", '"20.4" has no unit'),
        ("panel_open", "20.4A", "is a current; a voltage is wanted"),
        ("panel_open", "900V", "more than such a circuit can have"),
        ("panel_open", "attic=20V", 'there is no "attic" in the plan'),
        ("panel_short", "-0.9A", "below zero"),
        ("panel_short", "0,9A", "use a decimal point"),
        ("panel_joined", "12V/turns", '"turns" is for a fan'),
        ("fan", "11V/0.2A", "does not say where"),
        ("fan", "eats=11V", 'did you mean "east"'),
        ("fan", "east=11V/12V", "two of a kind"),
        ("fan", "east=spins", "nothing that a fan is seen to do"),
        ("fan", "east=", "is no volts"),
        ("fan", "east=11V/", "is no volts"),
        ("fan", "east=xV", "does not begin with a number"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_option(option, text, message):
    with pytest.raises(PlanError, match=message) as caught:
        read(**{option: [text]})
    assert str(caught.value).startswith("--" + option.replace("_", "-"))


def test_every_mistake_is_told_at_once():
    with pytest.raises(PlanError, match="given twice") as caught:
        read(panel_open=["1"], fan=["east=1V", "east=2V", "north=3V"])
    assert len(caught.value.problems) == 3


@settings(max_examples=60, deadline=None)
@given(st.floats(-60, 60), st.floats(0, 9))
def test_what_is_written_is_what_is_read(volts, amps):
    pair = read(fan=[f"west={volts:.3f}V/{amps:.3f}A"]).fans["west"]
    assert pair.voltage == pytest.approx(volts, abs=6e-4)
    assert pair.current == pytest.approx(amps, abs=6e-4)


def test_nothing_read_is_nothing():
    assert not read()
    assert read(fan=["east=stands"])
