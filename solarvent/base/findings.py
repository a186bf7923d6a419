"""Findings, what mends them, and the verdict: what a person should know, in one form; and names in a row."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

#: The levels, worst first.
LEVELS = ("stop", "warn", "note")


@dataclass(frozen=True)
class Finding:
    """One thing that a person should know about a plan or a kit.

    Attributes
    ----------
    level : str
        ``"stop"`` (do not build it so), ``"warn"`` (look at it first) or ``"note"``.
    code : str
        A stable word for programs: ``"polarity-reversed"``.
    part : str
        The id of the part that it is about; empty if it is about the whole.
    text : str
        What is so, in one or two plain sentences.
    do : str
        What to do about it.
    value, limit : float, optional
        The figure that was found and the one that it is held against. [`unit`]
    unit : str
        The unit of both, SI.
    """

    level: str
    code: str
    part: str
    text: str
    do: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""

    def __post_init__(self) -> None:
        if self.level not in LEVELS:
            raise ValueError(f"the level of a finding is one of {', '.join(LEVELS)}, not {self.level!r}")
        if not self.do:
            raise ValueError(f"{self.code}: a finding says what to do")


def sort_findings(findings: Iterable[Finding]) -> list[Finding]:
    """Put findings in order, worst first; those of one level keep their order.

    Examples
    --------
    >>> mild = Finding("note", "spare-part", "lead-2", "It is left over.", "Keep it.")
    >>> grave = Finding("stop", "polarity-reversed", "fan-1", "Its poles are swapped.", "Add a crosser.")
    >>> [finding.level for finding in sort_findings([mild, grave])]
    ['stop', 'note']
    """
    return sorted(findings, key=lambda finding: LEVELS.index(finding.level))


@dataclass(frozen=True)
class Edit:
    """One change in a plan file.

    `section` is ``"fan"``, ``"wiring"`` ..., empty for a key at the top of the file; `part` the id of the part, empty
    for a section that is there once, and for a new part; `key` may lie deeper (``"outlet.positive"``), and is empty for
    the whole part. `value` is what to write, a dict for a new part; None takes the key, or the part, out.
    """

    section: str
    part: str
    key: str
    value: Any


@dataclass(frozen=True)
class Mending:
    """One way to do what a remedy says: what to get and where it goes, and what changes in the plan by it."""

    words: str
    changes: tuple[Edit, ...]


@dataclass(frozen=True)
class Remedy:
    """What one deed mends: findings of one level, whatever their codes.

    Attributes
    ----------
    level, do : str
        As those of its findings.
    members : tuple of Finding
        In the order given.
    """

    level: str
    do: str
    members: tuple[Finding, ...]

    @property
    def codes(self) -> list[str]:
        """Each code once."""
        return list(dict.fromkeys(finding.code for finding in self.members))

    @property
    def parts(self) -> list[str]:
        """Each part once."""
        return list(dict.fromkeys(finding.part for finding in self.members if finding.part))

    @property
    def texts(self) -> dict[str, list[str]]:
        """Each text once, with the parts of which it tells."""
        parts_by_text: dict[str, list[str]] = {}
        for finding in self.members:
            parts_by_text.setdefault(finding.text, []).extend([finding.part] if finding.part else [])
        return parts_by_text


def by_remedy(findings: Iterable[Finding]) -> list[Remedy]:
    """Put findings together that call for the same deed, so that people read it once; each stands where its first did.

    Examples
    --------
    >>> late = Finding("warn", "starts-late", "east", "It starts late.", "A larger panel.")
    >>> again = Finding("warn", "will-not-restart", "west", "It stands after a cloud.", "A larger panel.")
    >>> [(remedy.codes, remedy.parts, remedy.do) for remedy in by_remedy([late, again])]
    [(['starts-late', 'will-not-restart'], ['east', 'west'], 'A larger panel.')]
    """
    by_deed: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        by_deed.setdefault((finding.level, finding.do), []).append(finding)
    return [Remedy(level, do, tuple(members)) for (level, do), members in by_deed.items()]


def first_remedy(findings: Iterable[Finding]) -> Remedy | None:
    """Choose what to do first: what mends the first of the worst findings; None if there is nothing but notes.

    Of one level causes must stand before what follows from them.
    """
    pressing = by_remedy(finding for finding in sort_findings(findings) if finding.level != "note")
    return pressing[0] if pressing else None


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
        Up to three: from which light on the last fan starts, the air, and how often it is enough.
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
        """What to do first, as a sentence; empty if nothing was found that mends a shortage."""
        if self.first is None:
            return "Nothing that was checked speaks against building it." if self.level == "fits" else ""
        where = f" ({', '.join(self.first.parts)})" if self.first.parts else ""
        return f"Do this first{where}: {self.first.do}"


def listed(names: Iterable[str]) -> str:
    """Write one or more names one after the other, each once.

    Examples
    --------
    >>> listed(["east", "middle", "east", "west"])
    'east, middle and west'
    """
    *before, last = dict.fromkeys(names)
    return f"{', '.join(before)} and {last}" if before else last


def says(name: str, kind: str) -> bool:
    """Tell whether a name has the word of its kind in it, as "roof-panel" and "panel-1" have."""
    return kind.rpartition(" ")[2] in re.findall("[a-z]+", name.lower())


def called(kind: str, names: Sequence[str]) -> str:
    """Name parts of a kind, like ``"fan"``, in a sentence; where each name says the kind, it is not said again.

    Examples
    --------
    >>> called("fan", ["east", "west"]), called("fan", ["fan-1"]), called("panel", ["panel"])
    ('fans east and west', 'fan-1', 'the panel')
    """
    if list(names) == [kind]:
        return f"the {kind}"
    if all(says(name, kind) for name in names):
        return listed(names)
    return f"{kind}{'s' if len(names) > 1 else ''} {listed(names)}"
