"""The questions that people ask: each command runs, and its output has what was asked for."""

import json
import shlex
from functools import cache

import pytest
from click.testing import CliRunner
from sampled import one_in

from solarvent.cli import _group
from solarvent.report.about_text import asked_questions, questions_json, render_questions

COMMANDS = dict.fromkeys(question.command for question in asked_questions())


@cache
def outcome(command):
    """Run each command once, however many questions it answers."""
    done = CliRunner().invoke(_group, shlex.split(command))
    return done.exit_code, done.exception, " ".join(done.output.split())


def test_there_are_thirty_five_in_four_parts():
    questions = asked_questions()
    assert len(questions) == 35
    assert len({question.asked for question in questions}) == 35
    parts = ["before buying", "while wiring", "in the first sun", "through the seasons"]
    assert list(dict.fromkeys(question.when for question in questions)) == parts


@pytest.mark.parametrize("question", one_in(4, asked_questions()), ids=lambda question: question.asked[:50])
def test_the_command_answers_the_question(question):
    code, exception, printed = outcome(question.command)
    assert exception is None or isinstance(exception, SystemExit), repr(exception)
    assert code == question.ends
    assert [words for words in question.look if words not in printed] == []


def test_the_answers_are_short_and_the_list_fits_a_plain_terminal():
    assert all(20 < len(question.answer) < 420 for question in asked_questions())
    assert max(map(len, render_questions().splitlines())) <= 80


def test_the_same_as_data():
    found = json.loads(questions_json())
    assert found["schema"] == "solarvent.questions/1"
    assert found["questions"][0].keys() == {"when", "asked", "answer", "command", "ends", "look"}
