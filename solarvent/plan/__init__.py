"""What a person writes: plan, box, parts library, interview, schema, comment-keeping edits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.plan.boxes import Box, load_box
    from solarvent.plan.library import Library
    from solarvent.plan.plan import Plan, load_plan, plan_from

__all__ = ["Box", "Library", "Plan", "load_box", "load_plan", "plan_from"]

__getattr__ = lazy(
    __name__,
    {
        "Box": "boxes",
        "Library": "library",
        "Plan": "plan",
        "load_box": "boxes",
        "load_plan": "plan",
        "plan_from": "plan",
    },
)
