"""Mistakes a person can mend, told with place, value and the nearest names; and numbers that a formula cannot take."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Self

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True)
class Problem:
    """One mistake in an input.

    Attributes
    ----------
    where : str
        The place, as the person would find it: ``"fan[2].part"``, ``"year.csv line 14"``.
    what : str
        What is wrong there, in plain words, without a final full stop.
    write : str
        What to write or do instead; empty if there is nothing useful to say.
    """

    where: str
    what: str
    write: str = ""

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        text = f"{place}{self.what}" + (f"; {self.write}" if self.write else "")
        # Words of a file may hold line breaks and worse; a mistake stays on one line of printable text.
        return "".join(letter if letter.isprintable() else " " for letter in text)


class SolarventError(Exception):
    """Base of all errors that this package raises on purpose; carries one or more problems.

    Parameters
    ----------
    problems : iterable of Problem
        Every mistake that was found, in the order of the input.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type[Self], tuple[tuple[Problem, ...]]]:
        # By itself it would be made again from its text, when it comes from another process.
        return type(self), (self.problems,)

    @classmethod
    def single(cls, where: str, what: str, write: str = "") -> Self:
        """Make an error that carries one problem."""
        return cls([Problem(where, what, write)])


class QuantityError(SolarventError, ValueError):
    """A number or its unit cannot be read."""


class PlanError(SolarventError, ValueError):
    """A plan file, or the wiring in it, cannot be used."""


class PartError(SolarventError, LookupError):
    """A part is not in the library, or its record is wrong."""


class WeatherError(SolarventError, ValueError):
    """A weather file or table cannot be used."""


class DomainError(SolarventError, ValueError):
    """A kernel was given values for which its model has no meaning."""


class OutputError(SolarventError, OSError):
    """A result cannot be written where it was asked for."""


def nearest(word: str, choices: Iterable[str]) -> str:
    """Say which known word was probably meant: ``'did you mean "fan"?'``.

    A list of the choices if none is near and the list is short, or else nothing.
    """
    known = sorted(set(choices))
    listed = f"known here: {', '.join(known)}" if known and len(known) <= 40 else ""
    return likely_meant(word, known) or listed


def likely_meant(word: str, choices: Iterable[str]) -> str:
    """Say which known word was probably meant, or nothing if none is near."""
    known = sorted(set(choices))
    # First what is nearly the word, then what begins with it or is in it, and only then what is like it.
    close = get_close_matches(word, known, n=1, cutoff=0.8)
    close = close or [choice for choice in known if len(word) >= 3 and choice.startswith(word)][:1]
    # Letters alone would take "rain-hood" for "plain-hole", though it holds "hood".
    close = close or sorted((choice for choice in known if len(choice) >= 4 and choice in word), key=len)[-1:]
    close = close or get_close_matches(word, known, n=1, cutoff=0.6)
    return f'did you mean "{close[0]}"?' if close else ""


#: What a caller hands on to public functions -> those from which it comes.
_GIVEN_BY = {"Plan": "load_plan, plan_from or load_box", "Simulation": "simulate"}


def require_kind(given: object, kind: type) -> None:
    """Refuse at the door of a public function what is no plan, or no simulation; PlanError says what gives one."""
    if not isinstance(given, kind):
        what = f"this is {type(given).__name__}, and no {kind.__name__}"
        raise PlanError.single(kind.__name__.lower(), what, f"give what {_GIVEN_BY[kind.__name__]} returns")


def require_positive(**values: ArrayLike) -> None:
    """Refuse a quantity that is not finite and above zero."""
    for name, value in values.items():
        number = np.asarray(value, dtype=float)
        if not (np.isfinite(number).all() and (number > 0).all()):
            raise DomainError.single(name, f"is {value!s}, but must be a number above zero", "check the fan's sheet")
