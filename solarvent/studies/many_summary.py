"""What the rows of many places come to: how many fit, which design serves nearly all, what fails where and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from math import nan
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.findings import VERDICT_LEVELS
from solarvent.studies.place_rows import FAILED

if TYPE_CHECKING:
    import pandas as pd

NEARLY_EVERYWHERE = 0.9
"""Share of the places at which a design should fit to be called one for all of them (our choice). [-]"""
_TOLD = 5
"""Places that are named for one reason."""
NEEDED = (
    "row", "id", "design", "panel_watts", "latitude", "longitude", "verdict", "share_at_target", "reason", "cause",
    "do", "weather_by",
)  # fmt: skip
"""Columns of the rows that the summary reads."""


@dataclass
class DesignTally:
    """How many places a design fits at; `watts` are those of all its panels, the most of any place. [W]

    `shares` sums the share of the hours of need with enough air over the places. [-]
    """

    id: str
    watts: float = nan
    levels: Counter[str] = field(default_factory=Counter)
    shares: float = 0.0

    @property
    def judged(self) -> int:
        """Places of which there is a verdict."""
        return sum(self.levels[level] for level in VERDICT_LEVELS)

    @property
    def share(self) -> float:
        """Share of these places at which it fits; NaN without any. [-]"""
        return self.levels["fits"] / self.judged if self.judged else nan

    @property
    def merit(self) -> tuple[float, float, float]:
        """For order: more places that it fits at, then fewer stops, then enough air more often."""
        share = -1.0 if np.isnan(self.share) else self.share
        return share, -self.levels["stop"] / max(self.judged, 1), self.shares


@dataclass
class CauseTally:
    """Why a design does not fit at some places: how often, from where to where, the first few places.

    `reason` and `do` are those of the first place. Latitudes and longitudes are the least and the greatest. [deg]
    """

    design: str
    level: str
    cause: str
    count: int = 0
    south: float = nan
    north: float = nan
    west: float = nan
    east: float = nan
    ids: list[str] = field(default_factory=list)
    reason: str = ""
    do: str = ""


@dataclass(frozen=True, eq=False)
class ManySummary:
    """The answer for many places.

    Attributes
    ----------
    sentence : str
        The verdict in one sentence.
    places, rows : int
    designs : list of DesignTally
        In the order of their table.
    choice : DesignTally
        The smallest that fits at nine places in ten, or else that which fits at most.
    for_all : bool
        The choice fits at nine places in ten.
    causes : list of CauseTally
        Of the choice, stops first, then by how often.
    failed : list of (int, str, str)
        Row, id and reason of the first places that could not be worked out.
    failures : int
        How many there are.
    weather : dict of str to int
        How the weather was chosen, and for how many places.
    map : pandas.DataFrame
        Of the choice: latitude, longitude, verdict.
    """

    sentence: str
    places: int
    rows: int
    designs: list[DesignTally]
    choice: DesignTally
    for_all: bool
    causes: list[CauseTally]
    failed: list[tuple[int, str, str]]
    failures: int
    weather: dict[str, int]
    map: pd.DataFrame


def summarise_places(read: Callable[[Sequence[str]], Iterable[pd.DataFrame]], designs: Sequence[str]) -> ManySummary:
    """Sum up the rows of a study, chunk by chunk.

    Parameters
    ----------
    read : callable
        Gives the asked columns of each chunk of rows, in order; each chunk has all designs of its places.
    designs : sequence of str
        Their ids, in order; one empty id where the plan itself was asked.

    Returns
    -------
    ManySummary
    """
    import pandas as pd

    tallies = {name: DesignTally(name) for name in designs}
    causes: dict[tuple[str, str, str], CauseTally] = {}
    weather: Counter[str] = Counter()
    failed: list[tuple[int, str, str]] = []
    rows = failures = 0
    for part in read(NEEDED):
        rows += len(part)
        for (name, level), group in part.groupby(["design", "verdict"], sort=False):
            tally = tallies[name]
            tally.levels[level] += len(group)
            tally.shares += float(group["share_at_target"].sum())
            tally.watts = float(np.fmax(tally.watts, group["panel_watts"].max()))
        first = part[part["design"] == designs[0]]
        weather.update(first.loc[first["weather_by"] != "", "weather_by"])
        lost = part[part["verdict"] == FAILED].drop_duplicates("row")
        failures += len(lost)
        new = lost.head(max(_TOLD - len(failed), 0))
        failed += list(zip(new["row"].tolist(), new["id"], new["reason"], strict=True))
        for key, group in part[~part["verdict"].isin(["fits", FAILED])].groupby(["design", "verdict", "cause"]):
            _add(causes.setdefault(key, CauseTally(*key)), group)
    choice, for_all = _chosen(list(tallies.values()))
    # The choice is known only now: the rows of one design are read a second time.
    shown = ["latitude", "longitude", "verdict"]
    whole = pd.concat([part[part["design"] == choice.id][shown] for part in read(["design", *shown])])
    own = [one for (name, _, _), one in causes.items() if name == choice.id]
    own.sort(key=lambda one: (VERDICT_LEVELS.index(one.level), -one.count, one.cause))
    count = rows // max(len(designs), 1)
    sentence = _sentence(list(tallies.values()), choice, for_all, count)
    return ManySummary(
        sentence, count, rows, list(tallies.values()), choice, for_all, own, failed, failures, dict(weather), whole
    )


def _add(cause: CauseTally, group: pd.DataFrame) -> None:
    """Count more places of one cause."""
    cause.count += len(group)
    cause.south, cause.west = (float(np.fmin(known, group[name].min())) for known, name in (
        (cause.south, "latitude"), (cause.west, "longitude")))  # fmt: skip
    cause.north, cause.east = (float(np.fmax(known, group[name].max())) for known, name in (
        (cause.north, "latitude"), (cause.east, "longitude")))  # fmt: skip
    cause.ids += group["id"].head(max(_TOLD - len(cause.ids), 0)).tolist()
    if not cause.reason:
        cause.reason, cause.do = (str(group[name].iloc[0]) for name in ("reason", "do"))


def _chosen(tallies: Sequence[DesignTally]) -> tuple[DesignTally, bool]:
    """The smallest design that fits nearly everywhere, else that which comes nearest; of equals the first."""
    everywhere = [one for one in tallies if one.share >= NEARLY_EVERYWHERE]
    if everywhere:
        return min(everywhere, key=lambda one: np.nan_to_num(one.watts, nan=np.inf)), True
    return max(tallies, key=lambda one: one.merit), False


def _sentence(tallies: Sequence[DesignTally], choice: DesignTally, for_all: bool, places: int) -> str:
    """Give the verdict in one sentence."""
    if not choice.judged:
        return f"None of the {places} places could be worked out."
    fits, judged = choice.levels["fits"], choice.judged
    of = f"{fits} of {judged} place{'s' if judged != 1 else ''} ({choice.share:.0%})"
    failed = choice.levels[FAILED]
    lost = f"; {failed} more could not be worked out" if failed else ""
    if len(tallies) == 1:
        words = ", ".join(
            f"{choice.levels[level]} {words}"
            for level, words in (("short", "fall short of air"), ("stop", "say stop"))
            if choice.levels[level]
        )
        return f"It fits at {of}{f', {words}' if words else ''}{lost}."
    name = f'"{choice.id}"' + ("" if np.isnan(choice.watts) else f" ({choice.watts:.3g} W of panel)")
    if for_all:
        return f"The smallest design that fits nearly everywhere is {name}: it fits at {of}{lost}."
    if not fits:
        return f"No design fits at any of the {judged} places; {name} comes nearest{lost}."
    return f"No design fits at nine places in ten; {name} comes nearest: it fits at {of}{lost}."
