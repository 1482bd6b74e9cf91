"""The command line as tests walk it: every command with its subcommands, and its examples."""

from __future__ import annotations

import re

import click

from fringe.cli import COMMANDS, cli


def commands() -> dict[str, click.Command]:
    """Return each command by what is typed after `fringe`, subcommands after their group."""
    found: dict[str, click.Command] = {}

    def walk(words: list[str], command: click.Command) -> None:
        found[" ".join(words)] = command
        if isinstance(command, click.Group):
            for name in command.list_commands(click.Context(command)):
                inner = command.get_command(click.Context(command), name)
                assert inner is not None, (words, name)
                walk([*words, name], inner)

    for name in COMMANDS:
        command = cli.get_command(click.Context(cli), name)
        assert command is not None
        walk([name], command)
    return found


def console_lines(text: str) -> list[str]:
    """Return the lines of a text that call `fringe`, each in one piece, without a prompt."""
    whole = re.sub(r"\\\n\s*", "", text)
    return re.findall(r"^\s*(?:\$ )?(fringe(?: .*)?)$", whole, re.MULTILINE)


def blocks(text: str, *languages: str) -> list[str]:
    """Return the fenced blocks of a document in any of the languages."""
    found = re.findall(r"^```(\w+)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return [body for language, body in found if language in languages]


def example_lines(command: click.Command) -> list[str]:
    """Return the lines of the Example block that a command's help ends with."""
    _, _, examples = (command.epilog or "").partition("Example:")
    return console_lines(examples)
