"""A day as bars of text."""

import pandas as pd
import pytest

from solarvent.report.layout import WIDTH
from solarvent.report.strips import BLOCKS, PLAIN, bar, day_bars


def a_day(step="1h", periods=15, start="2001-07-15 06:00"):
    index = pd.date_range(start, periods=periods, freq=step)
    return pd.DataFrame({"poa_global": range(0, 60 * periods, 60), "air_changes": 10.0}, index=index)


@pytest.mark.parametrize(("step", "periods"), [("1h", 1), ("1h", 15), ("10min", 90), ("1min", 900)])
@pytest.mark.parametrize("plain", [False, True])
def test_bars_fit_a_plain_terminal_whatever_the_step(step, periods, plain):
    text = day_bars(a_day(step, periods), 20.0, plain)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert len(text.splitlines()) == 3
    assert text.isascii() == plain


def test_higher_is_never_lower():
    for signs, plain in ((BLOCKS, False), (PLAIN, True)):
        heights = [(" " + signs).index(bar(share / 100, plain)) for share in range(0, 121)]
        assert heights == sorted(heights)
        assert (heights[0], heights[50], heights[100], heights[120]) == (0, 4, 8, 8)


def test_the_clock_stands_above_its_bar():
    clock, sun, _ = day_bars(a_day(), 20.0).splitlines()
    # From 06:00, four signs an hour: noon is the seventh hour.
    assert clock.index("12:00") == 5 + 4 * 6
    assert sun[5 + 4 * 6] == bar(0.36)


def test_a_dark_day_has_no_bars():
    assert day_bars(a_day().iloc[:0], 20.0) == ""


def test_still_air_is_blank():
    assert day_bars(a_day().assign(air_changes=0.0), 0.0).splitlines()[2].split() == ["air", "0", "/h"]
