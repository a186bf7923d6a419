import tomllib

import pytest

from solarvent.base.errors import PlanError
from solarvent.bench.diagnosis import diagnose
from solarvent.bench.evidence import KnownLight
from solarvent.bench.metering import Measured, Measurement, Readings, measured_values, written
from solarvent.plan.plan import embedded_plan_path, load_plan

KNOWN = KnownLight(800.0, True, 40.0)


def values(loaded, taken, light=KNOWN):
    return measured_values(loaded, taken, light, diagnose(loaded, taken, light))


def test_a_short_circuit_current_in_a_known_light_gives_the_plate_factor(small_plan):
    # Isc 1.8 A at 1000 W/m2 with +0.05 %/K: 1.8 x 0.8 x 1.0075 = 1.451 A in 800 W/m2 and 40 degC.
    ((value,), left_out) = values(small_plan(), Readings(panel_short={"roof": 0.9 * 1.451}))
    assert (value.section, value.part, value.key, value.before) == ("panel", "roof", "plate_factor", "")
    assert float(value.value) == pytest.approx(0.9, abs=0.004)
    assert left_out == []


def test_a_measured_factor_takes_the_place_of_an_older_one_and_does_not_multiply_it(small_plan):
    loaded = small_plan({"panel.0.plate_factor": 0.7})
    ((value,), _) = values(loaded, Readings(panel_short={"roof": 0.9 * 1.451}))
    assert (float(value.value), value.before) == (pytest.approx(0.9, abs=0.004), "0.7")


@pytest.mark.parametrize("changes", [{"panel.0.age": 12.0}, {"panel.0.usual_factor": 0.6}])
def test_a_factor_is_of_the_plate_and_not_of_what_such_a_panel_usually_gives(small_plan, changes):
    loaded = small_plan(changes)
    ((value,), _) = values(loaded, Readings(panel_short={"roof": 0.7 * 1.451}))
    assert float(value.value) == pytest.approx(0.7, abs=0.004)


@pytest.mark.parametrize("light", [KnownLight(), KnownLight(800.0, False, 40.0)])
def test_without_a_measured_light_the_current_is_refused(small_plan, light):
    with pytest.raises(PlanError, match="the light at the reading is not known"):
        values(small_plan(), Readings(panel_short={"roof": 1.2}), light)


def test_an_impossible_factor_is_refused(small_plan):
    with pytest.raises(PlanError, match="times what its plate gives"):
        values(small_plan(), Readings(panel_short={"roof": 0.1}))


def test_running_points_are_added_to_those_that_are_there(small_plan):
    loaded = small_plan({"fan.0.readings": [[15.0, 0.08]]})
    ((value,), _) = values(loaded, Readings(fans={"east": Measurement(19.6, 0.103)}))
    assert (value.part, value.key, value.value) == ("east", "readings", "[[15, 0.08], [19.6, 0.103]]")
    assert value.before == "[[15, 0.08]]"


@pytest.mark.parametrize(
    ("pair", "words"),
    [
        (Measurement(19.6), "needs volts and amperes"),
        (Measurement(20.0, 0.0), "not sure that it turns"),
        (Measurement(15.2, 0.08), "holds a reading at 15.2 V already"),
        *(
            pytest.param(*case, marks=pytest.mark.long)
            for case in (
                (Measurement(0.4, 0.9), "not sure that it turns"),
                (Measurement(19.6, 0.1, "stands"), "not sure that it turns"),
                (Measurement(19.6, 0.079), "does not rise with the voltage"),
            )
        ),
    ],
)
def test_what_is_no_running_point_is_left_out_and_said_so(small_plan, pair, words):
    loaded = small_plan({"fan.0.readings": [[15.0, 0.08]]})
    found, left_out = values(loaded, Readings(fans={"east": pair}), KnownLight())
    assert found == []
    assert len(left_out) == 1
    assert words in left_out[0]


def test_written_values_come_back_when_the_text_is_read(small_plan):
    text = '[[panel]]\nid = "roof"\n[[fan]]\nid = "east"\n[[fan]]\nid = "west"\n'
    taken = Readings(panel_short={"roof": 1.3}, fans={"west": Measurement(19.6, 0.1)})
    found, _ = values(small_plan(), taken)
    content = tomllib.loads(written(text, found))
    assert content["panel"][0]["plate_factor"] == pytest.approx(0.896, abs=0.004)
    assert content["fan"] == [{"id": "east"}, {"id": "west", "readings": [[19.6, 0.1]]}]


def test_other_keys_of_a_part_keep_their_older_names(tmp_path):
    # A reading writes its own key only; the file still loads, with the note that tells the name of today.
    text = (
        embedded_plan_path()
        .read_text(encoding="utf-8")
        .replace('part = "fan-24v-120x25"', 'part = "fan-24v-120x25"\nrun_down_voltage = "9 V"')
    )
    changed = written(text, [Measured("fan", "bench", "readings", "[[19.6, 0.103]]")])
    assert changed.count("run_down_voltage") == 1
    assert written(changed, [Measured("fan", "bench", "stop_voltage", '"8 V"')]).count("run_down_voltage") == 0
    path = tmp_path / "mine.toml"
    path.write_text(changed, encoding="utf-8")
    fan = load_plan(path).record.fan[2]
    assert (fan.stop_voltage, fan.readings) == (9.0, [[19.6, 0.103]])
