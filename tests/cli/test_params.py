"""Options that a command gets as one frozen dataclass."""

from __future__ import annotations

import dataclasses

import click
import pytest

from commandline import commands
from fringe.cli.params import dataclass_at, gathered, length

GATHERED = {
    words: command
    for words, command in commands().items()
    if hasattr(command.callback, "gathered_kinds")
}


@pytest.mark.parametrize("words", GATHERED)
def test_gathered_fields_are_options(words: str) -> None:
    """Every field of a command's dataclasses is one of its options, and of no two of them."""
    command = GATHERED[words]
    names = [param.name for param in command.params]
    kinds = [dataclass_at(path) for path in command.callback.gathered_kinds.values()]
    fields = [field.name for kind in kinds for field in dataclasses.fields(kind)]
    assert kinds
    assert [name for name in fields if name not in names] == []
    assert len(fields) == len(set(fields))
    assert all(kind.__dataclass_params__.frozen for kind in kinds)


def test_a_command_gets_what_it_gathers(capsys: pytest.CaptureFixture[str]) -> None:
    """The dataclass has its own options in its units, and the command the rest by name."""

    @click.command()
    @length("--diameter", "Aperture.")
    @length("--radius", "Radius.")
    @click.option("--other")
    @gathered(over="fringe.judge.tolerance.stated.StatedAperture")
    def command(over: object, other: str) -> None:
        click.echo(f"{over.diameter_mm:g} {over.radius_mm:g} {over.form} {other}")  # type: ignore[attr-defined]

    words = ["--diameter", "15cm", "--radius", "3m", "--other", "text"]
    command.main(words, standalone_mode=False)
    assert capsys.readouterr().out == "150 3000 convex text\n"
