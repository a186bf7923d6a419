"""The chain, once: plan and weather in, a simulated span out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.simulation.electrical_side import Electrical
    from solarvent.simulation.simulate import Simulation
    from solarvent.simulation.worst_case import WorstCase
    from solarvent.simulation.year import months_table, totals

__all__ = ["Electrical", "Simulation", "WorstCase", "months_table", "totals"]

__getattr__ = lazy(
    __name__,
    {
        "Electrical": "electrical_side",
        "Simulation": "simulate",
        "WorstCase": "worst_case",
        "months_table": "year",
        "totals": "year",
    },
)
