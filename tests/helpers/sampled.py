"""A sample of the cases of a test, which always runs, and the rest of them, which is long."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def sampled(sample: Iterable[Any], others: Iterable[Any]) -> list[Any]:
    """Parameters of a test: a sample that always runs; the others only among the long tests."""
    return [*sample, *(pytest.param(other, marks=pytest.mark.long) for other in others)]


def one_in(few: int, cases: Iterable[Any]) -> list[Any]:
    """Parameters of a test: of so many cases one always runs, from the first on."""
    every = list(cases)
    return sampled(every[::few], [case for number, case in enumerate(every) if number % few])
