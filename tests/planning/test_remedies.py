"""What to buy and where to cut: nothing for nothing."""

from types import SimpleNamespace

import pytest

from solarvent.planning.pairing_search import Found
from solarvent.planning.remedies import _without_dead_ends


def joints(*ways):
    return tuple(
        SimpleNamespace(source=SimpleNamespace(part=source), sink=SimpleNamespace(part=sink)) for source, sink in ways
    )


@pytest.mark.parametrize("mark", ["new-", "splice-"])
def test_what_a_cut_short_search_would_get_for_nothing_is_left_out(mark):
    needed = [("panel", f"{mark}lead-1"), (f"{mark}lead-1", "fan")]
    idle = [("panel", f"{mark}split-1"), (f"{mark}split-1", f"{mark}lead-2")]
    found = _without_dead_ends(Found(joints(*needed, *idle), (3, 0), proved=False), mark)
    assert found.joints == joints(*needed)
    assert not found.proved
    assert _without_dead_ends(found, mark) == found
