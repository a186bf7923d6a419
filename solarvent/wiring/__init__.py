"""How things are joined: harness, polarity, pairing, and the circuits that come of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.wiring.circuit import Circuit, circuits
    from solarvent.wiring.harness import Harness, build_harness
    from solarvent.wiring.joints import Polarity, PolarityTrace

__all__ = ["Circuit", "Harness", "Polarity", "PolarityTrace", "build_harness", "circuits"]

__getattr__ = lazy(
    __name__,
    {
        "Circuit": "circuit",
        "Harness": "harness",
        "Polarity": "joints",
        "PolarityTrace": "joints",
        "build_harness": "harness",
        "circuits": "circuit",
    },
)
