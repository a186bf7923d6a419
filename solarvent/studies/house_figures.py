"""The figures of a house that readings may tell, and what is known of them beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

from solarvent.house.envelope import FLOOR_NODES


@dataclass(frozen=True)
class Prior:
    """What is known of a figure beforehand.

    Attributes
    ----------
    name : str
        "leakage", "light", "cover", "storage" (factors), "ground" [K]; those that are only fitted along begin with
        "start" [K], "layers" [-], "sky" [-].
    middle, spread : float
        Of a factor that of its logarithm.
    is_factor : bool
    source : str
        Where the spread comes from.
    """

    name: str
    middle: float
    spread: float
    is_factor: bool
    source: str = ""

    def value(self, z: float) -> float:
        """The figure at so many spreads from the middle."""
        at = self.middle + self.spread * z
        return exp(at) if self.is_factor else at


#: Half of a 90 % interval over the standard deviation.
NINETY = 1.645
PRIORS = (
    Prior("leakage", 0.0, log(60) / 2 / NINETY, True,
          "published rates of cracks spread sixtyfold: 0.4e-4 to 28e-4 of the cover"),
    Prior("light", 0.0, 0.25, True,
          "covers 0.75 to 0.90 when new, a third less when old and dirty; the rest is what stands in it"),
    Prior("cover", 0.0, 0.20, True, "U-values of one film by fit, 2.9 to 4.6 around 3.7 W/m2K"),
    Prior("storage", 0.0, 0.35, True, "soils and slabs, wet and dry: heat stored differs threefold"),
    Prior("ground", 0.0, 3.0, False, "the ground follows the air of weeks to months"),
)  # fmt: skip
#: Fitted along. Where floor and masses stood at the start, beside what days like the first ones leave: each mode of the
#: floor in kelvin of its top, then the masses together (our choice). [K]
START = (*[Prior("start", 0.0, 2.0, False)] * FLOOR_NODES, Prior("start", 0.0, 4.0, False))
#: The thermometer over the mean of the air by day, as a share of the rise (2 K across a house of 25 K, Wien). [-]
LAYERS = Prior("layers", 0.0, 0.08, False)
#: And what a clear night takes more or less: damp and cloud of nights that nobody saw (our choice). [-]
CHILL = Prior("chill", 1.0, 0.15, False)
NIGHT = Prior("night", 0.0, 0.35, False)
SKY_BOUNDS = (0.08, 1.08)
#: Light of a day that was measured on the level, as the house meets it: what of it was beam is worked out. [-]
SLANT = Prior("sky", 1.0, 0.08, False)

FAR = 3.0  # bounds of a figure, in spreads
#: Those of cracks: twelve times those of an average house is a vent that stands open. [-]
CRACKS_END = 2.0
