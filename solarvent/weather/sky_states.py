"""Steps of broken cloud taken apart into sunlit spells and shadow spells, in the order in which they pass."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from solarvent.plan.plan import Plan
from solarvent.weather import broken_sky, sky
from solarvent.weather.sun import SolarPosition

if TYPE_CHECKING:
    import pandas as pd

RESOLVED = 600.0
"""Weather with steps of this length or less shows the clouds itself. [s]"""
ALTERNATIONS = 2
"""Gaps, and shadows, in a step of broken cloud. From the second on they repeat the first: which fans turn in a gap
depends on the shadow before it, and no more on the hour before."""
_FAINT = 10.0
"""Clear-sky light under which a step is left whole: the clear-sky index has no meaning there. [W/m2]"""
_NO_BEAM = 0.1
"""Share of the beam that gaps would let through, under which the cloud counts as an even layer. [-]"""


@dataclass(frozen=True, eq=False)
class SkyStates:
    """The states of the sky in each step, and the moments through which they pass.

    A step of broken cloud has two states, sunlit and shadow, and passes gap, shadow, gap, shadow; any other step has
    one state and one moment.

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
        """Share of the step that each moment takes."""
        states, substeps = np.bincount(self.step_of), np.bincount(self.step_of_substep)
        return self.weight[self.order] / (substeps / states)[self.step_of_substep]

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
    """Find the steps of broken cloud and the light of their spells.

    The clear-sky index of a step gives its sunlit share. A step stays whole, with its mean light, under a sky without
    cloud and under a full cover (0, 8 and 9 oktas), where the mean is at or under the shadow level or at or over the
    sunlit one, and with the sun near the horizon. Where the weather says nothing of cloud, a step without any beam
    counts as a full cover.

    Parameters
    ----------
    plan : Plan
        Its place, and its reading of a broken sky.
    weather : pandas.DataFrame
        ghi, dni, dhi and, where it is known, opaque_cover; indexed by the middle of each step.
    position : SolarPosition
        The sun at these times.
    resolution : float
        Length of the weather's own steps; at ten minutes or less it is taken as it is. [s]
    share : float, optional
        Sunlit share of every step of broken cloud, in place of that from the levels; the light of the shadows
        follows from the mean. [-]

    Returns
    -------
    Spells
        In the order of the steps.
    """
    cover = (
        weather["opaque_cover"].to_numpy(dtype=float) if "opaque_cover" in weather else np.full(len(weather), np.nan)
    )
    broken = ~((cover <= 0) | (cover >= sky.OKTAS_FULL)) & (weather["ghi"].to_numpy() > 0)
    if resolution <= RESOLVED or not broken.any():
        broken = np.zeros(len(weather), dtype=bool)
        return _spells(broken, np.empty(0), *(np.empty((2, 0)),) * 3)
    reading, place = plan.record.sky, plan.record.place
    clear = sky.clear_sky_at(
        position.apparent_zenith,
        position.dni_extra,
        _haze(weather, place.latitude, place.longitude),
        place.altitude,
    )
    ghi, dni, dhi = (weather[name].to_numpy(dtype=float) for name in ("ghi", "dni", "dhi"))
    if share is None:
        shadow = broken_sky.SHADOW_LEVEL if reading.shadow_level is None else reading.shadow_level
        index = sky.clear_sky_index(ghi, clear.ghi)
        sunlit = broken_sky.sunlit_share(index, reading.sunlit_level, shadow)
    else:
        sunlit = np.full(len(ghi), share)
    up = np.cos(np.radians(position.apparent_zenith))
    broken &= (sunlit > 0) & (sunlit < 1) & (clear.ghi > _FAINT) & (up > 0)
    broken &= ~np.isnan(cover) | (dni > _NO_BEAM * sunlit * clear.dni)
    sunlit = sunlit[broken]
    sky_states = broken_sky.two_spells(
        ghi[broken], dni[broken], dhi[broken], reading.sunlit_level * clear.ghi[broken], sunlit, up[broken]
    )
    means = {"ghi": ghi[broken], "dni": dni[broken], "dhi": dhi[broken]}
    beam, around, ground = (
        np.array([_share_of(getattr(spell, name), means[name]) for spell in sky_states])
        for name in ("dni", "dhi", "ghi")
    )
    return _spells(broken, sunlit, beam, around, ground)


def _haze(weather: pd.DataFrame, latitude: float, longitude: float) -> np.ndarray:
    """Turbidity of the air at each step, by the world map of monthly means."""
    from pvlib.clearsky import lookup_linke_turbidity

    return lookup_linke_turbidity(weather.index, latitude, longitude).to_numpy()


def _share_of(part: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """The light of a spell as a share of the mean; where there is none of it, any share will do."""
    return np.divide(part, mean, out=np.ones_like(mean), where=mean > 0)


def _spells(
    broken: np.ndarray, sunlit: np.ndarray, beam: np.ndarray, around: np.ndarray, ground: np.ndarray
) -> SkyStates:
    """Lay out the states, sunlit before shadow, and the moments; the light is given as (2, broken steps)."""
    steps = np.arange(len(broken))
    states = np.where(broken, 2, 1)
    step_of = np.repeat(steps, states)
    first = np.cumsum(states) - states
    at = first[broken]
    weight = np.ones(len(step_of))
    weight[at], weight[at + 1] = sunlit, 1 - sunlit
    light = np.ones((3, len(step_of)))
    for row, (bright, dull) in zip(light, (beam, around, ground), strict=True):
        row[at], row[at + 1] = bright, dull
    substeps = np.where(broken, 2 * ALTERNATIONS, 1)
    step_of_substep = np.repeat(steps, substeps)
    within = np.arange(len(step_of_substep)) - np.repeat(np.cumsum(substeps) - substeps, substeps)
    beam_share, sky_share, ground_share = light
    return SkyStates(step_of, weight, beam_share, sky_share, ground_share, order=first[step_of_substep] + within % 2)
