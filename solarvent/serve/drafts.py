"""Drafts: what a person has typed so far, kept in the folder beside the plan, so that nothing is lost."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from solarvent.base.errors import OutputError, PlanError
from solarvent.plan.library import LARGEST_FILE
from solarvent.report.files import write_whole

DRAFT_VERSION = 1
#: Steps that can be undone, and plans that a folder shows.
_STEPS, _MOST_PLANS = 40, 200
#: Eighths of the sky under cloud, as a draft holds them.
OKTAS = tuple("012345678")
#: Texts of which it is known which version they were, for tabs that were left open.
_REMEMBERED = 20
#: Bytes of a plan that the page takes; a large one by hand has fifty thousand.
LARGEST_PLAN = 200_000
#: Names of plan files: letters and digits of any script, and no path.
_NAME = re.compile(r"(?!\.)[\w][\w .+-]{0,59}", re.UNICODE)
#: A file system takes names of 255 bytes, and to this one the ending of a draft comes. [bytes]
_LONGEST_NAME = 200


@dataclass(frozen=True)
class Content:
    """What undo and redo go through: the text of the plan, and of the boxes that lie beside it."""

    text: str
    boxes: tuple[str, ...] = ()


@dataclass
class Draft:
    """One plan as it is being worked on.

    `version` rises with every change of plan and boxes; `steps` holds the contents, `at` the one that is shown, and
    `shown` the last texts that were, each with the version from which on it was. `ticks` are done steps of the
    checklist, `readings` the meter's by mark, `pinned` the text of the state that was pinned, `view` what is looked at
    without being part of the plan. `saved` tells the file as it was when it was opened or saved last.
    """

    name: str
    steps: list[Content]
    shown: list[tuple[int, str]] = field(default_factory=list)
    at: int = 0
    version: int = 1
    ticks: list[str] = field(default_factory=list)
    readings: dict[str, str] = field(default_factory=dict)
    pinned: str = ""
    view: dict[str, str] = field(default_factory=dict)
    saved: str = ""

    @property
    def content(self) -> Content:
        """What is shown."""
        return self.steps[self.at]

    @property
    def text(self) -> str:
        """The plan."""
        return self.content.text

    @property
    def can_undo(self) -> bool:
        """Whether there is a step before this one."""
        return self.at > 0

    @property
    def can_redo(self) -> bool:
        """Whether a step was undone."""
        return self.at < len(self.steps) - 1

    def as_of(self, version: int) -> str:
        """The plan as a tab of some version saw it, or the oldest that is still known."""
        earlier = [text for number, text in self.shown if number <= version]
        return earlier[-1] if earlier else self.shown[0][1] if self.shown else self.text

    def put(self, **changes: Any) -> bool:
        """Take a new step by changing the content; nothing happens if it is the same."""
        new = replace(self.content, **changes)
        if new == self.content:
            return False
        before = self.text
        self.steps = [*self.steps[: self.at + 1], new][-_STEPS:]
        self.at = len(self.steps) - 1
        self._note(before)
        return True

    def go(self, by: int) -> None:
        """Undo (-1) or redo (+1) a step."""
        to = min(max(self.at + by, 0), len(self.steps) - 1)
        if to != self.at:
            before, self.at = self.text, to
            self._note(before)

    def _note(self, before: str) -> None:
        """Count a change of what is shown."""
        known = self.shown or [(self.version, before)]
        self.version += 1
        self.shown = [*known, (self.version, self.text)][-_REMEMBERED:]

    @property
    def is_saved(self) -> bool:
        """Whether the file holds what is shown."""
        return self.saved == digest(self.text)


class Shelf:
    """The folder in which the server was started: its plan files and their drafts; nothing else of the disk."""

    def __init__(self, folder: Path) -> None:
        self.folder = Path(os.path.realpath(folder))
        self._open: dict[str, tuple[tuple[int, int] | None, Draft]] = {}

    def plans(self) -> list[str]:
        """Names of the plan files and drafts, in order."""
        found = {path.name.removesuffix(".toml") for path in self.folder.glob("*.toml") if self._holds_plan(path)}
        found |= {path.name[1 : -len(_ENDING)] for path in self.folder.glob(f".*{_ENDING}")}
        return sorted(name for name in found if _NAME.fullmatch(name))[:_MOST_PLANS]

    def _holds_plan(self, path: Path) -> bool:
        """Tell a plan from other files that end alike, by its first words."""
        try:
            if os.path.realpath(path.parent) != str(self.folder) or not self._is_own(path):
                return False
            with path.open("rb") as file:
                return b"plan_version" in file.read(LARGEST_PLAN)
        except OSError:
            return False

    def _is_own(self, path: Path) -> bool:
        """Whether a path leads to a plain file of this very folder, and not by a link to somewhere else."""
        return path.is_file() and os.path.dirname(os.path.realpath(path)) == str(self.folder)

    def path(self, name: str) -> Path:
        """Place of a plan file; PlanError for a name that is none, or leads out of the folder."""
        if not _NAME.fullmatch(name) or name != name.strip() or len(name.encode()) > _LONGEST_NAME:
            what = f'"{name[:40]}" cannot be the name of a plan'
            raise PlanError.single("", what, "use up to 60 letters (of some scripts 50), digits, spaces, - and _")
        path = self.folder / f"{name}.toml"
        if path.is_symlink() and not self._is_own(path):
            raise PlanError.single("", f'"{name[:40]}" lies outside of this folder', "copy it in here first")
        return path

    def knows(self, name: str) -> bool:
        """Whether there is a plan of that name, saved or not."""
        return self.path(name).exists() or self._draft_path(name).exists()

    def _draft_path(self, name: str) -> Path:
        return self.folder / f".{name}{_ENDING}"

    def file_text(self, name: str) -> str:
        """The plan file as it is on the disk; PlanError if it is not there, too large, or no text."""
        path = self.path(name)
        try:
            with path.open("rb") as file:
                raw = file.read(LARGEST_PLAN + 1)
            text = raw.decode("utf-8-sig")
        except FileNotFoundError:
            raise PlanError.single("", f'there is no plan "{name[:60]}" in this folder', "look at the list") from None
        except UnicodeDecodeError:
            raise PlanError.single(path.name, "the text is not UTF-8", "save the file as UTF-8") from None
        except OSError as error:
            raise PlanError.single(path.name, "the file cannot be read", str(error.strerror)) from None
        if len(raw) > LARGEST_PLAN:
            raise PlanError.single(
                path.name, f"a plan here has at most {LARGEST_PLAN:,} bytes", "is it the right file?"
            )
        return text

    def draft(self, name: str) -> Draft:
        """The draft of a plan: as it was left, or begun from its file. PlanError if there is neither.

        Looking at a plan writes nothing. Where nothing was changed here since the file was opened or saved, the draft
        goes on with what the file says now.
        """
        self.path(name)
        stamp = self._stamp(name)
        known = self._open.get(name)
        if known is None or known[0] != stamp:
            draft = self._begun(name) if stamp is None else _read(name, self._draft_path(name))
        else:
            draft = known[1]
        # Nothing of the person's is lost by this; else both are told, and one is chosen.
        if draft.is_saved and self.file_has_changed(draft):
            draft = self._taken_over(draft)
        self._open[name] = (stamp, draft)
        return draft

    def _begun(self, name: str) -> Draft:
        text = self.file_text(name)
        return Draft(name, [Content(text)], saved=digest(text))

    def _taken_over(self, draft: Draft) -> Draft:
        """Go on with the text of the file, as a step that can be undone."""
        text = self.file_text(draft.name)
        other = replace(draft, steps=list(draft.steps), shown=list(draft.shown), saved=digest(text))
        other.put(text=text)
        return other

    def reread(self, name: str) -> Draft:
        """Put what the file says in place of the draft, as a step that can be undone."""
        return self.keep(self._taken_over(self.draft(name)))

    def _stamp(self, name: str) -> tuple[int, int] | None:
        """State of a draft on the disk; None if it is not there."""
        try:
            seen = self._draft_path(name).stat()
        except FileNotFoundError:
            return None
        return seen.st_mtime_ns, seen.st_size

    def keep(self, draft: Draft) -> Draft:
        """Write a draft to the disk, whole or not at all."""
        place = self._draft_path(draft.name)
        text = json.dumps({"draft_version": DRAFT_VERSION, **asdict(draft)}, ensure_ascii=False)
        write_whole(place, text, force=True)
        self._open[draft.name] = (self._stamp(draft.name), draft)
        return draft

    def change(self, name: str, how: Callable[[Draft], None]) -> Draft:
        """Change a draft and keep it; if either fails, the draft stays as it was."""
        draft = self.draft(name)
        changed = replace(draft, steps=list(draft.steps), shown=list(draft.shown), ticks=list(draft.ticks),
                          readings=dict(draft.readings), view=dict(draft.view))  # fmt: skip
        how(changed)
        return draft if changed == draft else self.keep(changed)

    def begin(self, name: str, text: str) -> Draft:
        """Begin a plan that is not saved yet; OutputError if there is one of that name."""
        if self.knows(name):
            raise OutputError.single(name, "there is a plan of that name already", "choose another name")
        return self.keep(Draft(name, [Content(text)]))

    def file_has_changed(self, draft: Draft) -> bool:
        """Whether the plan file is not what it was when it was opened or saved here."""
        try:
            return digest(self.file_text(draft.name)) != draft.saved
        except PlanError:
            return False

    def save(self, name: str, force: bool = False) -> Draft:
        """Write the plan file; OutputError if another program has changed it meanwhile, and not `force`."""
        draft = self.draft(name)
        if not force and self.file_has_changed(draft):
            what = "the file was changed by another program since it was opened here"
            raise OutputError.single(f"{name}.toml", what, "save again to write over it, or save under another name")
        write_whole(self.path(name), draft.text, force=True)

        def note(changed: Draft) -> None:
            changed.saved = digest(changed.text)

        return self.change(name, note)


_ENDING = ".solarvent-draft"


def digest(text: str) -> str:
    """Short name of a text, by which it is known again."""
    # A form may bring half a pair of surrogates, which UTF-8 alone refuses.
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:20]


def _read(name: str, place: Path) -> Draft:
    """Read a draft from the disk; PlanError if somebody has spoiled it."""
    try:
        if place.stat().st_size > LARGEST_FILE * (_STEPS + 1):
            raise ValueError
        content = json.loads(place.read_text(encoding="utf-8"))
        if content.pop("draft_version") != DRAFT_VERSION:
            raise ValueError
        steps = [Content(step["text"], tuple(step["boxes"])) for step in content.pop("steps")]
        shown = [(int(number), str(text)) for number, text in content.pop("shown")]
        draft = Draft(**(content | {"name": name, "steps": steps, "shown": shown}))
        if not _is_sound(draft):
            raise ValueError
        return draft
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        write = f"move {place.name} away; the plan file itself is untouched"
        raise PlanError.single(place.name, "the draft of this plan cannot be read", write) from None


def _is_sound(draft: Draft) -> bool:
    """Whether everything in a draft is of its kind."""
    words = [
        *draft.ticks, *draft.readings, *draft.readings.values(), *draft.view, *draft.view.values(), draft.pinned,
        draft.saved, *(text for step in draft.steps for text in (step.text, *step.boxes)),
    ]  # fmt: skip
    return (
        all(isinstance(word, str) for word in words)
        and isinstance(draft.ticks, list)
        and type(draft.version) is type(draft.at) is int
        and 0 <= draft.at < len(draft.steps)
        and draft.view.get("oktas", "0") in OKTAS
    )
