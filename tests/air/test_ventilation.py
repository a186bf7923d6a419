"""What a plan's fans, openings and cracks give to its flow network."""

from math import pi

import numpy as np
import pytest

from solarvent.air.network import effective_area, fan_curve, fan_outlet, geometry, inlet_area, leakage_area, volume
from solarvent.air.opening import leakage_flow
from solarvent.electrical.panel_model import BANDS, TYPICAL

HOUR = 3600.0


def test_a_measured_curve_wins_over_the_two_printed_figures(small_plan):
    loaded = small_plan({"fan.0.curve": [[0, 25], [50, 15], [100, 0]]})
    curve, typical = fan_curve(loaded.record.fan[0], TYPICAL), fan_curve(loaded.record.fan[1], TYPICAL)
    assert curve.measured
    assert not typical.measured
    # Nine tenths of the flow are delivered; the pressures stay.
    np.testing.assert_allclose(curve.flow * HOUR, [0, 45, 90])
    np.testing.assert_allclose(curve.pressure, [25, 15, 0])
    assert typical.flow[-1] * HOUR == pytest.approx(99)


def test_blades_leak_a_little_and_a_hood_has_none(small_plan):
    loaded = small_plan({"fan.0.outlet_opening": "gravity-shutter"})
    shutter, hood = (fan_outlet(loaded, fan) for fan in loaded.record.fan)
    # 0.6 x 0.8 of the pipe's face, 3 % of it past shut blades.
    assert shutter.effective_area == pytest.approx(0.6 * 0.8 * pi / 4 * 0.12**2)
    assert shutter.leakage_area == pytest.approx(0.03 * shutter.effective_area)
    assert (shutter.opening_pressure, hood.opening_pressure, hood.leakage_area) == (10.0, 0.0, 0.0)


def test_openings_count_with_their_coefficient_and_free_share(small_plan):
    openings = [
        {"id": "a", "part": "louvre-fixed", "area": "0.2 m2"},
        {"id": "b", "part": "plain-hole", "area": "0 m2"},
    ]
    loaded = small_plan({"opening": openings})
    assert effective_area(loaded.record.opening[0]) == pytest.approx(0.6 * 0.5 * 0.2)
    assert inlet_area(loaded) == pytest.approx(0.06)


def test_a_volume_that_is_known_better_wins(small_plan):
    assert volume(small_plan()) == pytest.approx(3 * 2 * (1.8 + 2.3) / 2)
    assert volume(small_plan({"house.volume": "10 m3"})) == 10.0


@pytest.mark.parametrize(
    ("tightness", "low", "high"), [("tight", 0.2, 0.8), ("average", 0.7, 2.0), ("leaky", 1.8, 5.0)]
)
def test_cracks_give_the_handbooks_air_changes_in_a_light_wind(small_plan, tightness, low, high):
    # Half to one change an hour new, one to two average, two to four old (ANSI/ASAE EP406 and NRAES-33, from memory);
    # in a wind of 2 m/s, which is 1 Pa from wall to wall, half of the cracks let air in and half let it out.
    loaded = small_plan({"house.tightness": tightness, "house.length": "6 m", "house.width": "3 m"})
    in_series = leakage_area(loaded) / 2 / np.sqrt(2)
    changes = in_series * np.sqrt(2 * 2.4 / 1.2) * HOUR / volume(loaded)
    assert low < changes < high


def test_cracks_of_a_wide_house_leak_as_shut_ranges_do(small_plan):
    # Ten shut commercial ranges by tracer, near calm: 0.34 to 1.0 changes an hour, mean 0.56 (Colorado State
    # University, abstract): 1011 m2 of cover round 2,400 m3, 15 K warmer.
    loaded = small_plan()
    usual = leakage_area(loaded) / geometry(loaded).cover_area * 1011.0
    assert 0.34 <= leakage_flow(usual, 15.0, 0.5) * HOUR / 2400.0 <= 1.0


def test_cracks_of_the_bands_span_the_published_rates(small_plan):
    # From the tightest of four research houses to old glass: sixtyfold.
    areas = {
        (word, band.name): leakage_area(small_plan({"house.tightness": word}), band)
        for word in ("tight", "average", "leaky")
        for band in BANDS
    }
    for word in ("tight", "average", "leaky"):
        assert areas[word, "low"] < areas[word, "typical"] < areas[word, "high"]
    assert areas["leaky", "high"] / areas["tight", "low"] == pytest.approx(70)
    assert areas["average", "low"] <= areas["tight", "high"]
    assert areas["leaky", "low"] <= areas["average", "high"]
