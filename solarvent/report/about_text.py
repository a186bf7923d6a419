"""What ``about`` shows: questions, faults, models, and the checks against figures from outside the program."""

from __future__ import annotations

import csv
import io
import textwrap
from functools import cache
from itertools import groupby
from math import floor, log10
from typing import Any, NamedTuple

from solarvent.base.errors import SolarventError
from solarvent.plan.library import influences, profiles, read_toml
from solarvent.report.data import to_json
from solarvent.report.layout import heading, paragraph, table


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
    for when, members in groupby(enumerate(asked_questions(), 1), key=lambda numbered: numbered[1].when):
        blocks.append(heading(when.capitalize()))
        blocks += [_question_text(number, question) for number, question in members]
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


class Fault(NamedTuple):
    """One thing that goes wrong; a plan tells it by `codes`, or else a step of the checklist looks for it."""

    slug: str
    topic: str
    what: str
    why: str
    do: str
    codes: tuple[str, ...] = ()
    step: str = ""


@cache
def faults() -> tuple[Fault, ...]:
    """All of them, by topic."""
    entries = read_toml(profiles() / "faults.toml", SolarventError)["faults"]
    return tuple(Fault(**{**entry, "codes": tuple(entry.get("codes", ()))}) for entry in entries)


def render_faults() -> str:
    """Write all of them as text of at most 80 columns."""
    blocks = [
        paragraph(
            "What goes wrong with fans on a panel. In brackets stands the finding by which solarvent run or solarvent"
            " pair tells it from a plan; where no plan can tell it, the checklist looks for it."
        )
    ]
    for topic, members in groupby(faults(), key=lambda fault: fault.topic):
        blocks.append(heading(topic.capitalize()))
        blocks += [_fault_text(fault) for fault in members]
    return "\n\n".join(blocks)


def _fault_text(fault: Fault) -> str:
    """One of them, in the form of a finding."""
    where = ", ".join(fault.codes) if fault.codes else f'checklist: "{fault.step}"'
    rows = (
        paragraph(fault.what),
        paragraph(f"{fault.why} [{where}]", "    "),
        paragraph(fault.do, "       ", "    -> "),
    )
    return "\n".join(rows)


def faults_json() -> str:
    """Write the same as JSON, schema ``solarvent.faults/1``."""
    return to_json({"schema": "solarvent.faults/1", "faults": [fault._asdict() for fault in faults()]})


_MOST = 5


class Model(NamedTuple):
    """One model, in words."""

    topic: str
    name: str
    equation: str
    source: str
    valid: str
    known_error: str
    modules: tuple[str, ...] = ()


@cache
def models() -> tuple[Model, ...]:
    """All models, in the order of the calculation."""
    entries = read_toml(profiles() / "models.toml", SolarventError)["models"]
    return tuple(Model(**entry) for entry in entries)


_PRACTICE = (
    "Held against common practice (no source) with one set of inputs, chosen before the first run and not changed"
    " since: a hobby house of 7 m2 with openers and two small fans in full sun at 21 degC comes to 32 degC (practice"
    " 28-37); nights with 830 L of water lie 5 K over outside after sun (3-6).",
    "What it misses: shut in full sun 42 degC (54-60); on boards, tight and in still air it has 59. Its vents just"
    " cracked under cloud, 5.4 K over outside (3-5); with leaky walls 4.8. With the water after a sunny winter day: 4.6"
    " degC in the evening and 1.2 at dawn (6.7 and 2.8); tight, on a dry slab 5.7 and 2.1; with a quarter more light"
    " 6.4 and 2.5; by day it had 17 degC where practice had 29, so its water began the night colder. In a long dull"
    " spell 1.4 K are left, of the day just gone (nothing).",
)


def render_models() -> str:
    """Write all models and the table of what moves their answers, as text of at most 80 columns."""
    # Not for questions and faults, which start at once.
    from solarvent.simulation.year import NIGHT_BAND, PEAK_BAND

    blocks = []
    for topic, members in groupby(models(), key=lambda model: model.topic):
        blocks.append(heading(topic.capitalize()))
        blocks += [_model_text(model) for model in members]
    for title, moved in (
        ("What moves the hottest hour most (embedded example)", {line.what: line.peak for line in influences()}),
        ("What moves the coldest hour most", {line.what: line.night for line in influences()}),
    ):
        most = sorted(moved.items(), key=lambda pair: -pair[1])[:_MOST]
        rows = [(what, f"{kelvins:.1f}") for what, kelvins in most]
        blocks.append(f"{heading(title)}\n{table(rows, ('if this is wrong by', 'inside [K]'))}")
    blocks.append(
        paragraph(
            f"Together, as the root of the sum of squares, the hottest hour is good to {PEAK_BAND:.0f} K and the"
            f" coldest to {NIGHT_BAND:.0f} K, more or less. Do not trust a tenth of a degree."
        )
    )
    blocks += [paragraph(text) for text in _PRACTICE]
    return "\n\n".join(blocks)


def _model_text(model: Model) -> str:
    """One model, a paragraph for each thing that is said of it."""
    rows = (
        ("", model.equation),
        ("source: ", model.source),
        ("valid: ", model.valid),
        ("known error: ", model.known_error),
    )
    return "\n".join([model.name, *(paragraph(label + words, "    ", "  ") for label, words in rows)])


def models_json() -> str:
    """Write the same as JSON, schema ``solarvent.models/2``."""
    from solarvent.simulation.year import NIGHT_BAND, PEAK_BAND

    return to_json(
        {
            "schema": "solarvent.models/2",
            "models": [model._asdict() for model in models()],
            "sensitivity": [line._asdict() for line in influences()],
            "peak_band": PEAK_BAND,
            "night_band": NIGHT_BAND,
        }
    )


#: Widths of a line of the table: label, words, three numbers; the unit has what is left of 80.
_LABEL, _WORDS, _WIDE, _NARROW = 9, 30, 10, 8
_EXACT = 1e-8
_FIELDS = (
    "id", "topic", "what", "unit", "source", "provenance", "kind", "expected", "got", "tolerance", "within",
    "why_missed", "wrong", "why_wrong",
)  # fmt: skip


@cache
def groups() -> list[dict[str, Any]]:
    """Read the shipped table: calculations with their topic, source, provenance, kind and rows."""
    found: list[dict[str, Any]] = read_toml(profiles() / "checks.toml", SolarventError)["checks"]
    return found


@cache
def checks() -> tuple[dict[str, Any], ...]:
    """List every check with all that is known of it.

    ``expected`` and ``got`` are in ``unit``; ``tolerance`` is a share of what is expected; ``within`` says whether they
    agree, ``why_missed`` why they do not; ``wrong`` is a published figure that is not right, ``why_wrong`` why.

    Examples
    --------
    >>> next(check["expected"] for check in checks() if check["id"] == "NV-10")
    0.5
    """
    whole = [group | row for group in groups() for row in group["rows"]]
    return tuple({name: one.get(name) for name in _FIELDS} for one in whole)


def render_checks() -> str:
    """Write all checks as text of at most 80 columns: counts, then those that miss, then the rest by topic."""
    every = checks()
    missed = [check for check in every if not check["within"]]
    traps = [check for check in every if check["wrong"] is not None]
    blocks = [heading("Checks against figures from outside the program") + "\n" + _counts(every, missed, traps)]
    blocks.append(_by_provenance(every))
    if missed:
        blocks.append(heading("Not within tolerance") + "\n\n" + "\n\n".join(_miss(check) for check in missed))
    blocks.append(
        heading("Published figures that are wrong, which the program must not give")
        + "\n\n"
        + "\n\n".join(_trap(check) for check in traps)
    )
    for topic, members in groupby(groups(), key=lambda group: str(group["topic"])):
        blocks.append(heading(topic))
        blocks += [_group(group) for group in members]
    blocks.append(
        paragraph(
            "The tests work all of this out anew, and see each check fail when the program's number is off by twice its"
            " tolerance. Beside this table they hold random circuits, air and sun against a circuit simulator, 40-digit"
            " arithmetic and libraries. Labels are this program's own."
        )
    )
    return "\n\n".join(blocks)


def _counts(every: tuple[dict[str, Any], ...], missed: list[dict[str, Any]], traps: list[dict[str, Any]]) -> str:
    """Say how many there are, of what kind, and how many hold."""
    whole = sum(group["kind"] == "worked example" for group in groups())
    units = sum(check["kind"] == "unit conversion" for check in every)
    return paragraph(
        f"{len(every)} checks: {len(every) - len(missed)} within tolerance, {len(missed)} not; those stand first, with"
        f" the reason. {whole} calculations run a whole chain (weather to fan, house through a night), {units} checks"
        f" are conversions of units. {len(traps)} published figures are known to be wrong or misleading, which the"
        " program must not give."
    )


def _by_provenance(every: tuple[dict[str, Any], ...]) -> str:
    """Count the checks by where their figures come from."""
    # In the order of the table, for kinds of the same number.
    words = list(dict.fromkeys(check["provenance"] for check in every))
    rows = []
    for word in sorted(words, key=lambda name: -sum(check["provenance"] == name for check in every)):
        held = [check["within"] for check in every if check["provenance"] == word]
        rows.append((word, len(held), held.count(False)))
    return table(rows, ("where the figure comes from", "checks", "not within"))


def _number(value: float, check: dict[str, Any]) -> str:
    """Write a number of a check to two digits of its tolerance."""
    if check["tolerance"] < _EXACT:
        return f"{value:.9g}"
    # A hair more, for a tolerance of 0.001 may come as 0.00099999.
    decimals = 1 - floor(log10(1.000001 * check["tolerance"] * abs(check["expected"])))
    return f"{value:.{min(max(decimals, 0), 5)}f}"


def _unit(check: dict[str, Any]) -> str:
    return "" if check["unit"] == "-" else f" {check['unit']}"


def _allowed(check: dict[str, Any]) -> str:
    """Write the largest allowed difference in the unit of the check."""
    allowed = check["tolerance"] * abs(check["expected"])
    if check["tolerance"] < _EXACT:
        return "exact"
    return f"{allowed:.2g}" if allowed < 100 else f"{allowed:.0f}"


def _miss(check: dict[str, Any]) -> str:
    """Write one check that does not hold, with its reason."""
    return "\n".join((
        paragraph(f"{check['id']}  {check['what']}", "  ", ""),
        paragraph(
            f"expected {_number(check['expected'], check)}{_unit(check)}, more or less {_allowed(check)};"
            f" got {_number(check['got'], check)}", "    ", "  ",
        ),
        paragraph(f"why: {check['why_missed'] or 'not known'}", "    ", "  "),
        paragraph(f"from: {check['source']} ({check['provenance']})", "    ", "  "),
    ))  # fmt: skip


def _trap(check: dict[str, Any]) -> str:
    """Write one wrong figure beside the right one."""
    return "\n".join((
        paragraph(f"{check['id']}  {check['what']}", "  ", ""),
        paragraph(
            f"{_number(check['got'], check)}{_unit(check)}, not {_number(check['wrong'], check)}: {check['why_wrong']}",
            "    ", "  ",
        ),
    ))  # fmt: skip


def _group(group: dict[str, Any]) -> str:
    """Write the checks of one calculation under their source."""
    note = f"{group['provenance']}; worked example" if group["kind"] == "worked example" else group["provenance"]
    lines = [paragraph(f"{group['source']} ({note})", "  ", "")]
    lines.append(f"{'':{_LABEL + 1 + _WORDS}}{'expected':>{_WIDE}}{'+/-':>{_NARROW}}{'got':>{_WIDE}}")
    for row in group["rows"]:
        first, *more = textwrap.wrap(row["what"], _WORDS)
        numbers = (_number(row["expected"], row), _allowed(row), _number(row["got"], row))
        columns = "".join(f"{text:>{width}}" for text, width in zip(numbers, (_WIDE, _NARROW, _WIDE), strict=True))
        lines.append(f"{row['id']:<{_LABEL}} {first:<{_WORDS}}{columns}{'' if row['within'] else '*'}{_unit(row)}")
        lines += [f"{'':{_LABEL}} {word}" for word in more]
    return "\n".join(lines)


def checks_json() -> str:
    """Write the same as JSON, schema ``solarvent.checks/1``."""
    return to_json({"schema": "solarvent.checks/1", "tolerance_is": "share of expected", "checks": list(checks())})


def checks_csv() -> str:
    """Write the same as CSV, one check a line."""
    text = io.StringIO()
    writer = csv.DictWriter(text, _FIELDS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(checks())
    return text.getvalue().rstrip("\n")
