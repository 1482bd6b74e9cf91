"""Questions at a terminal before something is kept; elsewhere they are refusals."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.views.asked import Asked

T = TypeVar("T")


def confirmed(act: Callable[[bool], T]) -> T:
    """Do something that may ask first: with False, and with True once all was confirmed.

    Where nobody can be asked, what is asked is raised as the refusal that it is.

    Parameters
    ----------
    act : callable
        Gets whether everything is confirmed; raises `Asked` where something is not.
    """
    from fringe.archive.views.asked import Asked

    try:
        return act(False)
    except Asked as asked:
        if not _at_a_terminal():
            raise
        _ask(asked)
    return act(True)


def passphrase(key: Path) -> str:
    """Ask for the passphrase of an encrypted key; nothing of it is shown.

    Raises
    ------
    BadInput
        If there is no terminal to ask at.
    """
    if not _at_a_terminal():
        raise BadInput(f"{key}: is encrypted; sign at a terminal, which asks for its passphrase")
    typed: str = click.prompt(f"Passphrase of {key}", hide_input=True, err=True)
    return typed


def _at_a_terminal() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _ask(asked: Asked) -> None:
    for question in asked.questions:
        click.echo(f"fringe: {question.text}", err=True)
        if not click.confirm("Log it all the same?", err=True):
            raise asked
