"""The questions that people ask, each with a short answer and the command that answers it with figures."""

from __future__ import annotations

from functools import cache
from itertools import groupby
from typing import NamedTuple

from solarvent.base.errors import SolarventError
from solarvent.plan.library import profiles, read_toml
from solarvent.report.data import to_json
from solarvent.report.layout import heading, paragraph


class AskedQuestion(NamedTuple):
    """One of them: `command` ends with the code `ends`, and its output has the words of `look`."""

    when: str
    asked: str
    answer: str
    command: str
    ends: int
    look: tuple[str, ...]


@cache
def asked_questions() -> tuple[AskedQuestion, ...]:
    """All of them, in the order in which they come up."""
    entries = read_toml(profiles() / "questions.toml", SolarventError)["question"]
    return tuple(AskedQuestion(**{**entry, "look": tuple(entry["look"])}) for entry in entries)


def render_questions() -> str:
    """Write all of them as text of at most 80 columns, numbered."""
    blocks = [
        paragraph(
            "Each command runs as it stands, on a plan or kit that ships with the program. For your own, put your file"
            ' in the place of "faulty", "coop" or the kit, or behind the command where it names none. Look for the'
            " words behind the arrow."
        )
    ]
    number = 0
    for when, members in groupby(asked_questions(), key=lambda question: question.when):
        blocks.append(heading(when.capitalize()))
        for question in members:
            number += 1
            blocks.append(_question_text(number, question))
    return "\n\n".join(blocks)


def _question_text(number: int, question: AskedQuestion) -> str:
    """Write one question; a command stays on one line, to be copied."""
    rows = (
        paragraph(f"{number}. {question.asked}", "    ", ""),
        paragraph(question.answer, "    ", "    "),
        f"    $ solarvent {question.command}",
        paragraph(", ".join(f'"{words}"' for words in question.look), "       ", "    -> "),
    )
    return "\n".join(rows)


def questions_json() -> str:
    """Write the same as JSON, schema ``solarvent.questions/1``."""
    return to_json({
        "schema": "solarvent.questions/1", "questions": [question._asdict() for question in asked_questions()],
    })  # fmt: skip
