"""The sections of a plan on sky, skyline and obstacles: what is accepted, and how a mistake is told."""

import pytest

from solarvent.base.errors import PlanError
from solarvent.plan.house_records import Obstacle

WALL = {"kind": "wall", "azimuth": 180, "distance": "3 m", "height": "2 m"}


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"sky": {"sunlit_share": 0.4, "shadow_level": 0.3}}, "sky: the broken sky is given twice; give sunlit_share"),
        ({"sky": {"sunlit_share": 1.5}}, r"sky\.sunlit_share"),
        ({"sky": {"full_cover": "grey"}}, r"sky\.full_cover"),
        ({"sky": {"sunlit": 1.0}}, r"sky\.sunlit"),
        ({"place.skyline": [[180, 95]]}, r"\[180, 95\] is no point of a skyline; write \[degrees from north"),
        ({"place.skyline": [[180]]}, "skyline"),
        ({"obstacle": [WALL | {"leaf_months": [5]}]}, "a wall has no leaves"),
        ({"obstacle": [WALL | {"height": 2}]}, "height"),
        ({"obstacle": [WALL | {"distance": "0 m"}]}, "distance"),
        ({"obstacle": [WALL | {"kind": "hedge"}]}, "kind"),
        ({"obstacle": [{"kind": "tree"}]}, "azimuth"),
        ({"obstacle": [WALL | {"kind": "tree", "leaf_months": [13]}]}, "leaf_months"),
    ],
)
def test_a_mistake_is_told_with_its_place(small_plan, changes, message):
    with pytest.raises(PlanError, match=message):
        small_plan(changes)


def test_leaves_by_month_and_hemisphere():
    tree = Obstacle.model_validate(WALL | {"kind": "tree"})
    assert tree.passes_by_month(north=True) == [0.6] * 3 + [0.2] * 7 + [0.6] * 2
    assert tree.passes_by_month(north=False) == [0.2] * 4 + [0.6] * 5 + [0.2] * 3
    assert Obstacle.model_validate(WALL).passes_by_month(north=True) == [0.0] * 12
    own = Obstacle.model_validate(
        WALL | {"kind": "tree", "passes": 0.1, "bare_passes": 0.9, "leaf_months": [6]}
    ).passes_by_month(north=True)
    assert own == [0.9] * 5 + [0.1] + [0.9] * 6
