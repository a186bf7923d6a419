import pytest

from solarvent.bench.diagnosis import diagnose
from solarvent.bench.evidence import KnownLight
from solarvent.bench.metering import Measurement, Readings
from solarvent.bench.suspects import CAUSES, FAULTS
from solarvent.report.diagnosis_text import diagnosis_data, is_urgent, render_diagnosis


@pytest.fixture(scope="module")
def plan(small_plan):
    return small_plan()


def text_and_data(plan, taken, light=None):
    light = light or KnownLight()
    found = diagnose(plan, taken, light)
    return render_diagnosis("Pea shed", found, light, "", "read again"), diagnosis_data("Pea shed", found, light), found


def test_tied_faults_are_called_tied_and_the_next_reading_points_at_their_numbers(plan):
    text, data, _ = text_and_data(plan, Readings(fans={"east": Measurement(20.0, 0.0)}))
    assert "Tied: these readings cannot tell 1 and 2 apart" in text
    assert "Next: watch fan east and the meter for ten seconds" in text
    (circuit,) = data["circuits"]
    assert [one["tied"] for one in circuit["ranking"]][:2] == [True, True]
    assert circuit["next"]["kind"] == "seen"
    assert circuit["unread"] == ["west"]


def test_a_short_is_urgent_and_told_with_what_it_would_read(plan):
    taken = Readings(panel_short={"roof": 0.9}, fans={"east": Measurement(0.4, 0.9)})
    text, data, found = text_and_data(plan, taken)
    assert "1. east: a short, or a reversed fan without protection (by far the likeliest)" in text
    assert "(you read 0.4 V)" in text
    assert is_urgent(found)
    leader = data["circuits"][0]["ranking"][0]
    assert {"fault", "text", "parts", "share", "tied", "causes", "expected"} == leader.keys()


def test_a_minus_sign_comes_before_everything_else(plan):
    text, _, found = text_and_data(plan, Readings(panel_open={"roof": -20.0}))
    assert text.index("STOP  Minus sign at roof") < text.index("What fits the readings, signs apart")
    assert is_urgent(found)


@pytest.mark.long
def test_no_line_is_longer_than_a_page_is_wide(plan):
    taken = Readings(
        panel_open={"roof": 20.0}, fans={"east": Measurement(9.0, 0.05), "west": Measurement(1.0, 0.3, "stands")}
    )
    for light in (KnownLight(), KnownLight(900.0, True), KnownLight(900.0, False, 40.0)):
        text, _, _ = text_and_data(plan, taken, light)
        assert max(map(len, text.splitlines())) <= 80


def test_a_guess_at_the_light_is_called_one(plan):
    taken = Readings(panel_short={"roof": 0.9})
    assert "if the sky was clear" in text_and_data(plan, taken, KnownLight(900.0, False))[0]
    assert "as you measured it" in text_and_data(plan, taken, KnownLight(900.0, True))[0]


def test_words_exist_for_all_faults_and_causes():
    for fault in FAULTS.values():
        assert fault.what
        assert not fault.sign.endswith(".")
    for words, check in CAUSES.values():
        assert words
        assert not check.endswith(".")
