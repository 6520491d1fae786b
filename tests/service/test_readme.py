"""README.md: every command and option that it names is one of the program's."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from service.command_line import frame

SPANS = re.findall(r"`([^`\n]+)`", (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8"))
COMMANDS = [
    part.strip()
    for span in SPANS
    if "slipledger " in span and not span.startswith("pip")
    for part in re.split(r"&&|(?<= )\|(?= )", span)
    if part.strip().startswith("slipledger ")
]
PROGRAM: Any = get_command(frame.app)


def chosen(words: list[str]) -> Any:
    """Return the command that words name, of a group the one within it."""
    command = PROGRAM.commands[words[0]]
    return command.commands[words[1]] if hasattr(command, "commands") else command


def options(command: Any) -> set[str]:
    return {name for given in command.params for name in (*given.opts, *given.secondary_opts)}


def every_command(group: Any = PROGRAM) -> Iterator[Any]:
    for command in group.commands.values():
        yield command
        if hasattr(command, "commands"):
            yield from every_command(command)


def test_the_readme_names_commands_enough_to_be_read_rightly() -> None:
    assert len(COMMANDS) > 20
    assert {"check", "pull", "assess", "why", "serve"} <= {shlex.split(line)[1] for line in COMMANDS}


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_and_its_options_are_the_programs(line: str) -> None:
    words = shlex.split(line)[1:]
    named = {word.partition("=")[0] for word in words if word.startswith("--")}
    assert named <= options(chosen(words))
    # What is pasted into a shell is not cut in two by it.
    assert not any(mark in word for word in words for mark in "|<>")


def test_an_option_that_stands_alone_is_one_of_some_command() -> None:
    alone = {shlex.split(span)[0] for span in SPANS if span.startswith("--")}
    known = set().union(*(options(command) for command in every_command()))
    assert {"--send", "--shelve-until", "--behind-proxy"} <= alone <= known
