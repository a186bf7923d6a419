"""The form of a verdict: whether to build it, in one sentence, what to do first, and the figures that carry it."""

from __future__ import annotations

from dataclasses import dataclass

from solarvent.base.findings import Remedy

#: The levels, worst first: not to be built so; it works, and the air is not enough; it works, and the air is enough.
VERDICT_LEVELS = ("stop", "short", "fits")


@dataclass(frozen=True)
class KeyFigure:
    """A figure that carries a verdict.

    Attributes
    ----------
    what : str
        In words: ``"air in the hours of need"``.
    value : float
        SI; NaN where there is none.
    dimension : str
        A kind of quantity of :mod:`solarvent.base.quantities`; empty for a share.
    """

    what: str
    value: float
    dimension: str = ""


@dataclass(frozen=True)
class Verdict:
    """The answer about a plan or a design.

    Attributes
    ----------
    level : str
        One of :data:`VERDICT_LEVELS`.
    sentence : str
        Whether to build it, and whether the air is enough.
    first : Remedy or None
        What to do first; None if nothing but notes was found.
    figures : tuple of KeyFigure
        Three: from which light on the last fan starts, the air, and how often it is enough.
    """

    level: str
    sentence: str
    first: Remedy | None
    figures: tuple[KeyFigure, ...]

    def __post_init__(self) -> None:
        if self.level not in VERDICT_LEVELS:
            raise ValueError(f"the level of a verdict is one of {', '.join(VERDICT_LEVELS)}, not {self.level!r}")

    @property
    def first_sentence(self) -> str:
        """What to do first, as a sentence."""
        if self.first is None:
            return "Nothing that was checked speaks against building it."
        where = f" ({', '.join(self.first.parts)})" if self.first.parts else ""
        return f"Do this first{where}: {self.first.do}"
