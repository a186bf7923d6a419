"""Refusing numbers that a formula cannot take."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from solarvent.base.errors import DomainError


def require_positive(**values: ArrayLike) -> None:
    """Refuse a quantity that is not finite and above zero."""
    for name, value in values.items():
        number = np.asarray(value, dtype=float)
        if not (np.isfinite(number).all() and (number > 0).all()):
            raise DomainError.single(name, f"is {value!s}, but must be a number above zero", "check the fan's sheet")
