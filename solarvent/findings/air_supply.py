"""Whether the air is enough: what moves in the hours of need against what each of them wants."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarvent.house.air_need import Need, need, wanted_flow
from solarvent.simulation.simulate import Simulation
from solarvent.weather.span import hours_of_need

#: Share of the hours of need in which the wanted air should be reached, and from which it counts as all of them (our
#: choice). [-]
ENOUGH, NEARLY_ALL = 0.75, 0.98


@dataclass(frozen=True)
class AirSupply:
    """Air in the hours of need, beside what is wanted then.

    Attributes
    ----------
    flow : float
        Mean in the hours of need, typically; NaN if the weather has none. [m3/s]
    share : float
        Of the hours of need, in which the air is what their own sun wants; NaN if there are none. [-]
    sunny : Need or None
        What a sunny hour of need wants, of which one in ten has more sun; None if there are none.
    """

    flow: float
    share: float
    sunny: Need | None

    @property
    def share_of_sunny_hour(self) -> float:
        """The mean air as a share of what a sunny hour wants; NaN if it wants none, or there is none. [-]"""
        wanted = self.sunny.wanted if self.sunny else 0.0
        return self.flow / wanted if wanted > 0 else float("nan")


def air_supply(run: Simulation) -> AirSupply:
    """Hold the air of a simulation against the need of each hour."""
    needed = hours_of_need(run.plan, run.conditions.times)
    ghi = run.conditions.weather["ghi"].to_numpy()[needed]
    if not ghi.size:
        return AirSupply(float("nan"), float("nan"), None)
    reached = reaches(run.hours["flow"].to_numpy()[needed], wanted_flow(run.plan, ghi))
    return AirSupply(
        run.bands["typical"].target_flow, float(reached.mean()), need(run.plan, float(np.percentile(ghi, 90)))
    )


def reaches(flow: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Tell where the air is what is wanted, or more, to rounding; nowhere where no air would do (NaN). [m3/s]"""
    return np.asarray(flow >= wanted * (1 - 1e-9))


def is_enough(share: float, often: float = ENOUGH) -> bool:
    """Tell whether the wanted air is reached often enough: in that share of the hours of need, if there are any."""
    return not share < often
