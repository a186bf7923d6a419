"""Climates: twelve months of temperature, cloud, wind and ground for a kind of place, or for a place of one's own."""

from __future__ import annotations

from math import exp, fsum, lgamma
from typing import Annotated, Any

from pydantic import Field, field_validator, model_validator

from solarvent.plan.fields import Identifier, Record, Share, Temperature, mistake, quantity

#: How far the hours of a month stray to a clear and an overcast sky, 0 not at all, 1 wholly; see `okta_shares`. [-]
OKTA_SPREAD = 0.57
#: Nine shares written with two digits may miss 1 by so much. [-]
_SHARES_SLACK = 0.02

WindSpeed: Any = quantity("speed", least=0, most=30)
Okta = Annotated[float, Field(ge=0, le=8)]
Bearing = Annotated[float, Field(ge=0, le=360)]


def _twelve(kind: Any, description: str, required: bool = True) -> Any:
    """Make a field of one value a month, January first."""
    words = f"{description}; twelve values, January first"
    default = {} if required else {"default": None}
    return Field(**default, min_length=12, max_length=12, description=words)  # type: ignore[call-overload]


class Climate(Record):
    """Monthly normals of a place, or of a kind of place.

    Cloud is the opaque cover by day. It is given as the share of hours at each okta where that is known, for its mean
    alone says little: most skies are nearly clear or nearly covered.
    """

    id: Identifier = Field("", validate_default=False)
    name: str = ""
    source: str = "typical"
    latitude: Annotated[float, Field(ge=-90, le=90)] | None = Field(
        None, description="where the months belong; they are turned by half a year for the other hemisphere"
    )
    temp_high: list[Temperature] = _twelve(Temperature, "mean daily highest temperature of the air")
    temp_low: list[Temperature] = _twelve(Temperature, "mean daily lowest temperature of the air")
    oktas: list[Okta] | None = _twelve(Okta, "mean opaque cloud, eighths of the sky", required=False)
    okta_shares: list[list[Share]] | None = _twelve(
        Share, "in place of oktas: shares of the hours at 0, 1 ... 8 oktas", required=False
    )
    wind_speed: list[WindSpeed] | None = _twelve(WindSpeed, "mean wind at 10 m", required=False)
    wind_direction: list[Bearing] | None = _twelve(Bearing, "degrees from north that it comes from", required=False)
    ground: list[Temperature] | None = _twelve(Temperature, "ground at about 1 m", required=False)

    @field_validator("okta_shares")
    @classmethod
    def _are_shares(cls, months: list[list[float]] | None) -> list[list[float]] | None:
        for number, shares in enumerate(months or [], start=1):
            if len(shares) != 9:
                what = f"month {number} has {len(shares)} shares"
                write = "give nine, for 0, 1 ... 8 oktas"
                raise mistake(what, write)
            if abs(fsum(shares) - 1) > _SHARES_SLACK:
                what = f"the shares of month {number} sum to {fsum(shares):.3g}"
                raise mistake(what, "they must sum to 1")
        return months

    @model_validator(mode="after")
    def _is_possible(self) -> Climate:
        if (self.oktas is None) == (self.okta_shares is None):
            write = "give oktas = [twelve means], or okta_shares = [twelve lists of nine shares]"
            raise mistake("the cloud is not clear", write)
        for number, (low, high) in enumerate(zip(self.temp_low, self.temp_high, strict=True), start=1):
            if low > high:
                what = f"month {number} has its lowest temperature, {low:g} degC, above its highest, {high:g} degC"
                write = "look at the two lists again"
                raise mistake(what, write)
        return self

    @property
    def shares(self) -> tuple[tuple[float, ...], ...]:
        """Share of the hours at 0, 1 ... 8 oktas, twelve rows that each sum to 1. [-]"""
        if self.okta_shares is not None:
            return tuple(tuple(share / fsum(row) for share in row) for row in self.okta_shares)
        return tuple(okta_shares(mean) for mean in self.oktas or [])

    def at(self, latitude: float) -> Climate:
        """Give the climate for a latitude: turned by half a year if it was written for the other hemisphere."""
        if self.latitude is None or self.latitude * latitude >= 0:
            return self
        monthly = ("temp_high", "temp_low", "oktas", "okta_shares", "wind_speed", "wind_direction", "ground")
        lists = {name: getattr(self, name) for name in monthly}
        turned = {name: [*values[6:], *values[:6]] for name, values in lists.items() if values is not None}
        return self.model_copy(update=turned | {"latitude": -self.latitude})


def okta_shares(mean: float, spread: float = OKTA_SPREAD) -> tuple[float, ...]:
    """Shares of the hours at 0 to 8 oktas [-] from their mean [oktas] alone: eight draws from a beta distribution.

    The beta distribution with its two peaks, clear and overcast, is the usual model of cloud amount (Falls 1974). Of
    `spread` s and mean share of cloud m its parameters are m (1 - s) / s and (1 - m) (1 - s) / s. `spread` is between 0
    and 1, both excluded [-]; the standard fits the variance of the hours by day at two stations of typical years, TMY3
    723170 (36 N) and 703165 (55 N), where single months give 0.35 to 0.78.

    Examples
    --------
    >>> [round(share, 2) for share in okta_shares(4.0)]
    [0.24, 0.1, 0.07, 0.06, 0.06, 0.06, 0.07, 0.1, 0.24]

    References
    ----------
    L. W. Falls, "The beta distribution: a statistical model for world cloud cover", Journal of Geophysical Research
    79, 1974, 1261-1264 (from memory).
    """
    # A sky that is always clear, or always covered, has no distribution.
    if min(mean, 8 - mean) < 1e-9:
        return tuple(float(okta == round(mean)) for okta in range(9))
    cloudy, clear = (share * (1 - spread) / spread for share in (mean / 8, 1 - mean / 8))
    # By logarithms of the gamma function, which itself grows out of bounds near the ends.
    return tuple(
        exp(
            lgamma(9) - lgamma(okta + 1) - lgamma(9 - okta)
            + lgamma(okta + cloudy) + lgamma(8 - okta + clear) - lgamma(8 + cloudy + clear)
            + lgamma(cloudy + clear) - lgamma(cloudy) - lgamma(clear)
        )
        for okta in range(9)
    )  # fmt: skip
