"""Help texts: each command has an example on one line, and every example can be typed as it stands."""

import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from solarvent.cli import _group

README = Path(__file__).parents[2] / "README.md"


def leaves(command=_group, way=()):
    if isinstance(command, click.Group):
        for name in command.list_commands(click.Context(command)):
            yield from leaves(command.get_command(click.Context(command), name), (*way, name))
    else:
        yield way


def parse(words):
    """Read a command line down to its last word, without doing what it says."""
    context, rest = click.Context(_group), words
    command = _group
    while isinstance(command, click.Group):
        name, command, rest = command.resolve_command(context, rest)
        context = click.Context(command, parent=context, info_name=name)
    command.parse_args(context, list(rest))


def examples(text):
    return re.findall(r"Example:  solarvent (.+)", text)


@pytest.mark.parametrize("way", list(leaves()), ids=" ".join)
def test_every_command_has_an_example_that_can_be_typed(way):
    text = CliRunner().invoke(_group, [*way, "--help"], terminal_width=60).output
    found = examples(text)
    assert found
    for example in found:
        assert example.startswith(" ".join(way))
        parse(shlex.split(example))


@pytest.mark.skipif(not README.exists(), reason="the tests stand without the README")
def test_every_command_line_of_the_readme_can_be_typed():
    text = README.read_text(encoding="utf-8")
    spans = [span for span in re.findall(r"`solarvent ([a-z][^`]*)`", text) if "..." not in span]
    assert len(spans) > 12
    for line in spans:
        parse(shlex.split(line))


@pytest.mark.parametrize("way", list(leaves()), ids=" ".join)
def test_help_says_something_of_each_option(way):
    command = _group
    for name in way:
        command = command.get_command(click.Context(command), name)
    assert all(param.help for param in command.params if isinstance(param, click.Option))
