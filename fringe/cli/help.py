"""`fringe help`: topics that no single command's help has room for."""

from __future__ import annotations

import shutil
import sys

import click

from fringe.cli.params import json_option
from fringe.cli.printing import print_json


def _complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    from fringe.help import TOPICS

    return [name for name in TOPICS if name.startswith(incomplete)]


@click.command("help", short_help="Explain a topic: the job, refusals, words, the record.")
@click.argument("topic", required=False, shell_complete=_complete)
@json_option
@click.pass_context
def command(context: click.Context, topic: str | None, as_json: bool) -> None:
    """Explain a topic: the job, refusals, words, the record.

    Without a TOPIC it lists them. With the name of a command it shows that command's help.

    \b
    Example:
      fringe help
      fringe help refusals
      fringe help record --json
    """
    from fringe.help import TOPICS, plain_text, topic_heading, topic_text

    if topic is None:
        _list({name: topic_heading(name) for name in TOPICS}, as_json)
        return
    of_command = None if topic in TOPICS else _command_help(context, topic)
    text = of_command or topic_text(topic, others=_commands(context))
    if as_json:
        print_json({"topic": topic, "text": text})
    elif of_command is not None:
        click.echo(text)
    elif sys.stdout.isatty():
        _show(text)
    else:
        click.echo(plain_text(text), nl=False)


def _list(topics: dict[str, str], as_json: bool) -> None:
    if as_json:
        print_json({"topics": topics})
        return
    width = max(map(len, topics))
    click.echo("\n".join(f"{name:<{width}}  {line}" for name, line in topics.items()))


def _commands(context: click.Context) -> list[str]:
    """Return the names of the commands beside this one."""
    group = context.parent.command if context.parent is not None else None
    return group.list_commands(context) if isinstance(group, click.Group) else []


def _command_help(context: click.Context, name: str) -> str | None:
    """Return the help of a command; None where no command has that name."""
    group = context.parent.command if context.parent is not None else None
    found = group.get_command(context, name) if isinstance(group, click.Group) else None
    if found is None:
        return None
    return found.get_help(click.Context(found, parent=context.parent, info_name=name))


def _show(markdown: str) -> None:
    """Show a topic on the terminal, through a pager where it is longer than the screen."""
    size = shutil.get_terminal_size()
    text = _rendered(markdown, size.columns)
    if text.count("\n") < size.lines:
        click.echo(text, nl=False)
    else:
        click.echo_via_pager(text)


def _rendered(markdown: str, columns: int) -> str:
    """Return a topic with the terminal's own bold and colours, no wider than can be read well."""
    from rich.console import Console
    from rich.markdown import Markdown

    screen = Console(width=min(columns, 84), highlight=False)
    with screen.capture() as shown:
        screen.print(Markdown(markdown, code_theme="ansi_dark", hyperlinks=False))
    return shown.get()
