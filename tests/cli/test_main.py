"""The frame around all commands: status, one-line errors, JSON errors, version."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import pytest

from fringe import cli
from fringe.errors import BadInput, Refused

ROOT = Path(__file__).parents[2]


def run(*words: str) -> int:
    """Call the command line in this process; return its exit status."""
    with pytest.raises(SystemExit) as stop:
        cli.main(list(words))
    return int(stop.value.code or 0)


@pytest.fixture
def lamps_raises(monkeypatch):
    """Make `fringe lamps` raise whatever the test sets."""

    def arrange(error: BaseException) -> None:
        @click.command("lamps")
        @click.option("--json", "as_json", is_flag=True)
        def command(as_json: bool) -> None:
            raise error

        monkeypatch.setattr(cli.cli, "get_command", lambda ctx, name: command)

    return arrange


def test_version_is_the_projects(capsys):
    """`--version` prints the version that pyproject.toml states, and nothing else."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert run("--version") == 0
    assert capsys.readouterr().out == f"fringe {project['version']}\n"


def test_installed_script_is_the_same_program():
    """The installed `fringe` answers as the function does."""
    script = Path(sys.executable).with_name("fringe")
    done = subprocess.run([script, "--help"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("Usage: fringe [OPTIONS] COMMAND")
    assert done.stderr == ""


def test_nothing_typed_shows_help(capsys):
    """`fringe` alone shows the list of commands, with status 2."""
    assert run() == 2
    assert "Commands:" in capsys.readouterr().out


@pytest.mark.parametrize("words", [["-h"], ["--help"]])
def test_help_names_every_command(words, capsys):
    """Help, long or short, lists each command."""
    assert run(*words) == 0
    out = capsys.readouterr().out
    for name in cli.COMMANDS:
        assert f"\n  {name} " in out


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["polish"], "fringe: No such command 'polish' (see `fringe --help`)\n"),
        (["lamps", "--loud"], "fringe: No such option '--loud' (see `fringe lamps --help`)\n"),
        (
            ["lamps", "sodium", "helium"],
            "fringe: Got unexpected extra argument (helium) (see `fringe lamps --help`)\n",
        ),
    ],
    ids=["command", "option", "argument"],
)
def test_slips_are_one_line(words, line, capsys):
    """A wrong word on the command line is one line that says where to look, with status 2."""
    assert run(*words) == 2
    out, err = capsys.readouterr()
    assert (out, err) == ("", line)


@pytest.mark.parametrize("error", [BadInput, Refused])
def test_foreseen_errors_are_one_line(error, lamps_raises, capsys):
    """An error meant for the user is one line on standard error, however it was wrapped."""
    lamps_raises(error("glass.jpg: no fringes\n  found"))
    assert run("lamps") == 2
    assert capsys.readouterr() == ("", "fringe: glass.jpg: no fringes found\n")


def test_errors_are_an_object_for_programs(lamps_raises, capsys):
    """With `--json` standard output holds one object with the error and nothing else."""
    lamps_raises(Refused("glass.jpg: λ/20 is not to be had"))
    assert run("lamps", "--json") == 2
    out, err = capsys.readouterr()
    assert json.loads(out) == {"error": "glass.jpg: λ/20 is not to be had"}
    assert err == "fringe: glass.jpg: λ/20 is not to be had\n"


def test_slips_are_an_object_for_programs(capsys):
    """A wrong option beside `--json` gives an object too, even before the command runs."""
    assert run("lamps", "--loud", "--json") == 2
    assert "--loud" in json.loads(capsys.readouterr().out)["error"]


def test_stopping_by_hand(lamps_raises, capsys):
    """Ctrl-C ends with the usual status 130 and one line."""
    lamps_raises(KeyboardInterrupt())
    assert run("lamps") == 130
    assert capsys.readouterr().err.split("\n") == ["", "fringe: stopped before the end", ""]


def test_faults_of_ours_keep_their_traceback(lamps_raises):
    """An error that nobody foresaw is not hidden as if the user had done something wrong."""
    lamps_raises(ZeroDivisionError())
    with pytest.raises(ZeroDivisionError):
        cli.main(["lamps"])
