"""Broken cloud: light that comes and goes in place of its mean; steps taken apart into states, bright to dull."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from solarvent.plan.plan import Plan
from solarvent.weather import sky
from solarvent.weather.sun import SolarPosition

if TYPE_CHECKING:
    import pandas as pd


class Spell(NamedTuple):
    """Light during one of the two states, one value a step. [W/m2]"""

    ghi: np.ndarray
    dni: np.ndarray
    dhi: np.ndarray


def beam_in_thirds(share: ArrayLike) -> np.ndarray:
    """Beam in the brightest, the middle and the dullest third of a step of broken cloud, from its mean.

    The beam is of shape (3,) or (3, steps); it and its mean are shares of that under a clear sky; NaN outside 0-1 [-].
    Draw three moments of the step, each in the sun with the chance `share`, and sort them: the brightest is in the sun
    unless all three are not, ``1 - (1 - share)**3``; the middle one if two of them are, ``share**2 (3 - 2 share)``; the
    dullest if all three are, ``share**3``. The sorted minutes of hours lie on these curves (one-minute data of Payerne,
    June 2016, Baseline Surface Radiation Network), while the diffuse light of an hour is nearly even over them.

    Examples
    --------
    >>> beam_in_thirds(0.5).tolist()
    [0.875, 0.5, 0.125]

    References
    ----------
    Three states of the sun within an hour: K. G. T. Hollands, H. Suehrcke, "A three-state model for the probability
    distribution of instantaneous solar radiation, with applications", Solar Energy 96, 2013, 103-112.
    """
    sunlit = np.asarray(share, dtype=float)
    sunlit = np.where((sunlit >= 0) & (sunlit <= 1), sunlit, np.nan)
    return np.array([1 - (1 - sunlit) ** 3, sunlit**2 * (3 - 2 * sunlit), sunlit**3])


def sunlit_share(factor: ArrayLike, sunlit_level: Any, shadow_level: Any) -> Any:
    """Share of the time in sunlight that gives a step its mean light, from the levels of gaps and shadows. [-]

    ``(factor - shadow_level) / (sunlit_level - shadow_level)``, within 0-1; the mean (cloud factor or clear-sky index)
    and the levels are shares of the light under a clear sky [-]. At 0 the mean is at or under the shadow level, at 1 at
    or above the sunlit one: there the mean itself is the one state of the sky. NaN for NaN.

    Examples
    --------
    >>> sunlit_share([0.25, 0.5237, 0.929, 1.1], 1.10, 0.45).round(2).tolist()
    [0.0, 0.11, 0.74, 1.0]
    """
    level = np.asarray(factor, dtype=float)
    return np.clip((level - shadow_level) / (sunlit_level - shadow_level), 0.0, 1.0)[()]


def open_sky_share(oktas: ArrayLike) -> Any:
    """Share of the time in sunlight [-] if it is that of the open sky: ``1 - oktas / 8``, NaN outside 0-8 oktas.

    The other reading of a broken sky: fewer sunlit hours and brighter shadows than :func:`sunlit_share` gives.

    Examples
    --------
    >>> open_sky_share([0, 6, 9]).tolist()
    [1.0, 0.25, nan]
    """
    cover = np.asarray(oktas, dtype=float)
    return np.where((cover >= 0) & (cover <= 8), 1 - cover / 8, np.nan)[()]


def shadow_level(factor: ArrayLike, share: ArrayLike, sunlit_level: Any) -> Any:
    """Light in the shadows that goes with a mean and a share of the time in sunlight.

    ``(factor - share sunlit_level) / (1 - share)``, where mean, light in the gaps and the answer are shares of the
    light under a clear sky; the share of the time is from 0 to less than 1 [-]. NaN where the gaps alone would give
    more than the mean, and where there is no shadow.

    Examples
    --------
    >>> shadow_level(0.718, [0.25, 0.9], 1.10).round(3).tolist()
    [0.591, nan]
    """
    sunlit = np.asarray(share, dtype=float)
    shadow = 1 - np.where((sunlit >= 0) & (sunlit < 1), sunlit, np.nan)
    level = (np.asarray(factor, dtype=float) - sunlit * sunlit_level) / shadow
    return np.where(level >= 0, level, np.nan)[()]


def two_spells(
    ghi: np.ndarray,
    dni: np.ndarray,
    dhi: np.ndarray,
    ghi_sunlit: np.ndarray,
    share: np.ndarray,
    cos_zenith: np.ndarray,
) -> tuple[Spell, Spell]:
    """Take the mean light of a step apart into a sunlit and a shadowed spell that together keep it.

    The weighted means of `ghi`, `dni` and `dhi` [W/m2] are those of the step, to rounding. The beam belongs to the
    gaps: all of it shines in the sunlit spell, as far as the light there (`ghi_sunlit`, at most ``ghi / share``) has
    room for it, and the shadow is diffuse. What the gaps cannot hold shines faintly through the clouds. All arrays are
    of shape (steps,); NaN where the sunlit `share` is not between 0 and 1 or the cosine of the sun's zenith not above 0
    [-].

    Examples
    --------
    >>> sunlit, shadow = two_spells([500.0], [350.0], [290.0], [840.0], [0.4], [0.6])
    >>> [round(float(part[0]), 1) for part in (*sunlit, *shadow)]
    [840.0, 875.0, 315.0, 273.3, 0.0, 273.3]
    """
    ghi, dni, dhi, bright, share, up = (
        np.asarray(values, dtype=float) for values in (ghi, dni, dhi, ghi_sunlit, share, cos_zenith)
    )
    share = np.where((share > 0) & (share < 1), share, np.nan)
    up = np.where(up > 0, up, np.nan)
    shaded = 1 - share
    ghi_shadow = (ghi - share * bright) / shaded
    # Gaps hold no more beam than all of their light.
    dni_sunlit = np.minimum(dni / share, bright / up)
    dni_shadow = (dni - share * dni_sunlit) / shaded
    # No more sky light in the shadow than there is in all; what is missing of it then shows in the gaps.
    dhi_shadow = np.clip(ghi_shadow - dni_shadow * up, 0.0, dhi / shaded)
    dhi_sunlit = (dhi - shaded * dhi_shadow) / share
    return Spell(bright, dni_sunlit, dhi_sunlit), Spell(ghi_shadow, dni_shadow, dhi_shadow)


RESOLVED = 600.0
"""Weather with steps of this length or less shows the clouds itself. [s]"""
THIRDS = (1, 0, 1, 2)
"""How a step passes through its brightest third (0), its middle one (1) and its dullest (2): light rises and falls."""
GAPS = (0, 1, 0, 1)
"""How a step passes through the two states of a plan that names their levels, gap (0) and shadow (1). The second pair
repeats the first: which fans turn in a gap depends on the shadow before it, and no more on the hour before."""
_NO_BEAM = 0.02
"""Share of the beam of a clear sky under which the cloud counts as an even layer. [-]"""
_NO_GAP = 0.1
"""The same with levels that the plan gives, as a share of the beam that its gaps would let through. [-]"""


class _States(NamedTuple):
    """The states of the broken steps, bright to dull: length, and light as shares of the step's mean. [-]

    Each of shape (states, broken steps).
    """

    weight: np.ndarray
    beam: np.ndarray
    sky: np.ndarray
    ground: np.ndarray


@dataclass(frozen=True, eq=False)
class SkyStates:
    """The states of the sky in each step, and the moments through which they pass.

    A step of broken cloud has three states, its thirds from bright to dull, and passes middle, bright, middle, dull; or
    two, gap and shadow, where the plan gives their levels. Any other step has one state and one moment.

    Attributes
    ----------
    step_of : array of int, shape (states,)
        The step that a state belongs to.
    weight : array, shape (states,)
        Share of the step that it takes; sums to 1 over a step. [-]
    beam, sky, ground : array, shape (states,)
        Light from the sun, the sky and the ground, as shares of the step's mean. [-]
    order : array of int, shape (moments,)
        The state of each moment.
    """

    step_of: np.ndarray
    weight: np.ndarray
    beam: np.ndarray
    sky: np.ndarray
    ground: np.ndarray
    order: np.ndarray

    @property
    def whole(self) -> bool:
        """No step has more than one state."""
        return len(self.order) == self.steps

    @cached_property
    def steps(self) -> int:
        """Number of steps."""
        return int(self.step_of[-1]) + 1 if len(self.step_of) else 0

    @cached_property
    def step_of_substep(self) -> np.ndarray:
        """The step of each moment."""
        return self.step_of[self.order]

    @cached_property
    def moment_weight(self) -> np.ndarray:
        """Share of the step that each moment takes: a state's own is parted evenly among its moments."""
        return self.weight[self.order] / np.bincount(self.order)[self.order]

    @property
    def last_moment(self) -> np.ndarray:
        """The last moment of each step, shape (steps,)."""
        return np.append(self._first_moment[1:], len(self.order)) - 1

    @cached_property
    def _first_moment(self) -> np.ndarray:
        return np.searchsorted(self.step_of_substep, np.arange(self.steps))

    @cached_property
    def _first_state(self) -> np.ndarray:
        return np.searchsorted(self.step_of, np.arange(self.steps))

    def of_states(self, values: np.ndarray) -> np.ndarray:
        """Average values of states (..., states) over each step."""
        return np.add.reduceat(values * self.weight, self._first_state, axis=-1) if self.steps else values

    def brightest(self, values: np.ndarray) -> np.ndarray:
        """Largest value of the states (..., states) of each step."""
        return np.maximum.reduceat(values, self._first_state, axis=-1) if self.steps else values

    def mean(self, values: np.ndarray) -> np.ndarray:
        """Average values of moments (..., moments) over each step."""
        return np.add.reduceat(values * self.moment_weight, self._first_moment, axis=-1) if self.steps else values

    def most(self, values: np.ndarray) -> np.ndarray:
        """Largest value of moments (..., moments) in each step."""
        return np.maximum.reduceat(values, self._first_moment, axis=-1) if self.steps else values


def find_sky_states(
    plan: Plan,
    weather: pd.DataFrame,
    position: SolarPosition,
    resolution: float,
    share: float | None = None,
) -> SkyStates:
    """Find the steps of broken cloud and the light of their states, in the order of the steps.

    The beam of a step, as a share of that under a clear sky, gives its thirds, see `beam_in_thirds`; its diffuse light
    is the same in all three. Where the plan gives the levels of gaps and shadows, the clear-sky index of a step gives
    its sunlit share instead; `share` may set it for every step, and the light of the shadows follows from the mean [-].

    A step stays whole, with its mean light, under a sky without cloud and under a full cover (0, 8 and 9 oktas), with
    no beam or all of a clear sky's, and with the sun near the horizon; with two levels, where the mean is at or under
    the shadow level or at or over the sunlit one. Weather whose own steps, `resolution` [s], last ten minutes or less
    is taken as it is. Its table has ghi, dni, dhi and, where it is known, opaque_cover, by the middle of each step.
    """
    cover = sky.known_cover(weather)
    ghi, dni, dhi = (weather[name].to_numpy(dtype=float) for name in ("ghi", "dni", "dhi"))
    broken = ~((cover <= 0) | (cover >= sky.OKTAS_FULL)) & (ghi > 0)
    if resolution <= RESOLVED or not broken.any():
        return _lay_out(np.zeros(len(weather), dtype=bool), _States(*(np.empty((1, 0)),) * 4), (0,))
    reading, place = plan.record.sky, plan.record.place
    clear = sky.clear_sky_at(
        position.apparent_zenith,
        position.dni_extra,
        sky.haze(weather.index, place.latitude, place.longitude),
        place.altitude,
    )
    up = np.cos(np.radians(position.apparent_zenith))
    broken &= (clear.ghi > sky.FAINT) & (up > 0)
    if share is None and reading.as_measured:
        beam = np.divide(dni, clear.dni, out=np.zeros_like(dni), where=broken)
        broken &= (beam > _NO_BEAM) & (beam < 1)
        # The mean beam of a step may say more than its global light holds.
        from_beam = np.minimum(dni * up, ghi)[broken] / ghi[broken]
        return _lay_out(broken, _thirds(beam[broken], from_beam), THIRDS)
    gap, shadow = reading.levels
    index = sky.clear_sky_index(ghi, clear.ghi)
    sunlit = sunlit_share(index, gap, shadow) if share is None else np.full(len(ghi), share)
    broken &= (sunlit > 0) & (sunlit < 1) & (~np.isnan(cover) | (dni > _NO_GAP * sunlit * clear.dni))
    means = Spell(ghi[broken], dni[broken], dhi[broken])
    return _lay_out(broken, _two_states(means, gap * clear.ghi[broken], sunlit[broken], up[broken]), GAPS)


def _thirds(beam: np.ndarray, from_beam: np.ndarray) -> _States:
    """States of equal length, from the beam as a share of a clear sky's and the share of global light that it is."""
    light = beam_in_thirds(beam) / beam
    even = np.ones_like(light)
    return _States(even / len(light), light, even, 1 + from_beam * (light - 1))


def _two_states(means: Spell, ghi_sunlit: np.ndarray, sunlit: np.ndarray, cos_zenith: np.ndarray) -> _States:
    """Gap and shadow."""
    spells = two_spells(*means, ghi_sunlit, sunlit, cos_zenith)
    beam, around, ground = (
        np.array([_share_of(getattr(spell, name), getattr(means, name)) for spell in spells])
        for name in ("dni", "dhi", "ghi")
    )
    return _States(np.array([sunlit, 1 - sunlit]), beam, around, ground)


def _share_of(part: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """The light of a spell as a share of the mean; where there is none of it, any share will do."""
    return np.divide(part, mean, out=np.ones_like(mean), where=mean > 0)


def _lay_out(broken: np.ndarray, of_broken: _States, passage: tuple[int, ...]) -> SkyStates:
    """Lay the states of the broken steps among the whole ones, and the moments as a broken step passes them."""
    steps = np.arange(len(broken))
    states = np.where(broken, len(of_broken.weight), 1)
    step_of = np.repeat(steps, states)
    first = np.cumsum(states) - states
    shares = np.ones((len(of_broken), len(step_of)))
    shares[:, first[broken] + np.arange(len(of_broken.weight))[:, None]] = np.array(of_broken)
    substeps = np.where(broken, len(passage), 1)
    step_of_substep = np.repeat(steps, substeps)
    # How far each moment is in the passage of its step.
    within = np.arange(len(step_of_substep)) - np.repeat(np.cumsum(substeps) - substeps, substeps)
    passed = np.where(broken[step_of_substep], np.array(passage)[within], 0)
    weight, beam, around, ground = shares
    return SkyStates(step_of, weight, beam, around, ground, order=first[step_of_substep] + passed)
