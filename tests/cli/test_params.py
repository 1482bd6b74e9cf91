"""Options that a command gets as one frozen dataclass."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import textwrap

import click
import pytest

from commandline import commands
from fringe.cli.params import dataclass_at, gathered, length

ALL = {words: command for words, command in commands().items() if command.callback}
GATHERED = {
    words: command
    for words, command in commands().items()
    if hasattr(command.callback, "gathered_kinds")
}


@pytest.mark.parametrize("words", GATHERED)
def test_every_option_arrives(words: str) -> None:
    """Each option of a command is a field of one of its dataclasses or a parameter of its own."""
    callback = GATHERED[words].callback
    kinds = {name: dataclass_at(path) for name, path in callback.gathered_kinds.items()}
    options = {param.name for param in GATHERED[words].params}
    own = set(inspect.signature(callback).parameters) - set(kinds) - {"context"}
    fields = [f.name for kind in kinds.values() for f in dataclasses.fields(kind)]
    assert own <= options
    assert options - own <= set(fields)
    assert len(fields) == len(set(fields))
    assert own.isdisjoint(fields)


@pytest.mark.parametrize("words", GATHERED)
def test_dataclasses_can_do_without_other_options(words: str) -> None:
    """What a command gathers is frozen, and a field that is none of its options has a default."""
    names = {param.name for param in GATHERED[words].params}
    for path in GATHERED[words].callback.gathered_kinds.values():
        kind = dataclass_at(path)
        needed = [f.name for f in dataclasses.fields(kind) if _needed(f)]
        assert set(needed) <= names
        assert kind.__dataclass_params__.frozen


def _needed(field: dataclasses.Field[object]) -> bool:
    return field.default is field.default_factory is dataclasses.MISSING


LONGEST_BODY = 20  # lines, without the docstring


@pytest.mark.parametrize("words", ALL)
def test_a_command_is_thin(words: str) -> None:
    """A command takes named, typed options, and its body calls, prints and does little else."""
    function = inspect.unwrap(ALL[words].callback)
    (tree,) = ast.parse(textwrap.dedent(inspect.getsource(function))).body
    assert isinstance(tree, ast.FunctionDef)
    assert tree.args.kwarg is None
    assert all(one.annotation is not None for one in (*tree.args.args, *tree.args.kwonlyargs))
    body = tree.body[1:]
    assert not body or (body[-1].end_lineno or 0) - body[0].lineno < LONGEST_BODY


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
