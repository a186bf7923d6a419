"""With the meter in the hand: expected readings, diagnosis, checklist and shopping list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.bench.diagnosis import diagnose
    from solarvent.bench.metering import expected_readings
    from solarvent.bench.steps import checklist

__all__ = ["checklist", "diagnose", "expected_readings"]

__getattr__ = lazy(__name__, {"checklist": "steps", "diagnose": "diagnosis", "expected_readings": "metering"})
