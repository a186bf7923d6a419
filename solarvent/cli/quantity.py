"""Options that carry a unit."""

from __future__ import annotations

from typing import Any

import click

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import convert, parse, shown_unit


class Quantity(click.ParamType):
    """A number with its unit, within bounds in SI units (temperatures in [degC]).

    `dimension` is a kind of quantity of :mod:`solarvent.base.quantities`.
    """

    def __init__(self, dimension: str, least: float, most: float) -> None:
        self.dimension, self.least, self.most = dimension, least, most
        self.name = dimension

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the text; a wrong one ends the command with what to write."""
        if isinstance(value, float):
            return value
        try:
            number = parse(value, self.dimension)
        except QuantityError as error:
            self.fail(str(error), param, ctx)
        if not self.least <= number <= self.most:
            unit = shown_unit(self.dimension, "metric")
            low, high = (f"{convert(limit, self.dimension, unit):g}" for limit in (self.least, self.most))
            self.fail(f'"{value}" is outside {low} to {high} {unit}', param, ctx)
        return number


TEMPERATURE = Quantity("temperature", -60.0, 100.0)
IRRADIANCE = Quantity("irradiance", 1.0, 1400.0)
