"""The frame around all commands: status, one-line errors, JSON errors, version."""

from __future__ import annotations

import errno
import json
import os
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import pytest

from fringe import cli
from fringe.cli.printing import answer
from fringe.errors import BadInput, Refused
from sample_visits import full_surface

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


# --- what cannot be printed ------------------------------------------------------------------

FULL = Path("/dev/full")  # each write to it fails like one to a full disk
needs_full = pytest.mark.skipif(not FULL.exists(), reason="the system has no /dev/full")


def printed_to(output, *words: str) -> tuple[int, str]:
    """Run the installed program with an output of its own; status and standard error."""
    script = Path(sys.executable).with_name("fringe")
    done = subprocess.run([script, *words], stdout=output, stderr=subprocess.PIPE, text=True)
    return done.returncode, done.stderr


@needs_full
@pytest.mark.parametrize(
    "words",
    [
        ("lamps",), ("lamps", "--json"), ("--help",), ("sag", "--help"), ("help", "job"),
        ("--version",), (), ("surfaces", "shop"), ("progress", "shop/concave 1"),
        ("progress", "shop/concave 1", "--json"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_full_output_is_one_line(words, tmp_path, monkeypatch):
    """Every command says in one line, with status 2, that its answer could not be printed."""
    monkeypatch.chdir(tmp_path)
    full_surface(Path("shop"))
    with FULL.open("w") as full:
        status, err = printed_to(full, *words)
    assert (status, err.count("\n")) == (2, 1)
    assert err.startswith("fringe: the answer cannot be printed: No space left on device")


@pytest.mark.parametrize("words", [("lamps",), ("sag", "--help"), ("progress", "shop/concave 1")])
def test_closed_pipe_is_one_line(words, tmp_path, monkeypatch):
    """So it is where nobody reads on at the pipe's other end, for text and for tables."""
    monkeypatch.chdir(tmp_path)
    full_surface(Path("shop"))
    end, start = os.pipe()
    os.close(end)
    status, err = printed_to(start, *words)
    os.close(start)
    assert (status, err.count("\n")) == (2, 1)
    assert err.startswith("fringe: the answer cannot be printed: Broken pipe")


def test_closed_output_stops_before_the_work(tmp_path, monkeypatch):
    """With standard output closed nothing is done: a file might be opened in its place."""
    monkeypatch.chdir(tmp_path)
    script = Path(sys.executable).with_name("fringe")
    words = f"{shlex.quote(str(script))} surface add shop/flat --form concave >&-"
    done = subprocess.run(["sh", "-c", words], capture_output=True, text=True)
    assert done.returncode == 2
    assert done.stderr == (
        "fringe: standard output is closed; let it go to a file, or to /dev/null\n"
    )
    assert not list(tmp_path.iterdir())


def test_files_errors_are_one_line(lamps_raises, capsys):
    """A file that the system refuses is named with the system's reason."""
    lamps_raises(PermissionError(errno.EACCES, "Permission denied", "shop/rings.jpg"))
    assert run("lamps") == 2
    assert capsys.readouterr() == ("", "fringe: shop/rings.jpg: Permission denied\n")


def test_library_errors_without_number_keep_their_words(lamps_raises, capsys):
    """An error of a library that has neither number nor name is not taken for one of printing."""
    lamps_raises(OSError("truncated file: eof = 96"))
    assert run("lamps") == 2
    assert capsys.readouterr() == ("", "fringe: truncated file: eof = 96\n")


@pytest.mark.parametrize("as_json", [False, True])
def test_kept_visit_is_kept_without_an_answer(as_json, monkeypatch, capsys):
    """After a visit is in the archive a full output is a warning and no failure."""

    def full(message: str, err: bool = False) -> None:
        if not err:
            raise OSError(errno.ENOSPC, "No space left on device")
        sys.stderr.write(message + "\n")

    monkeypatch.setattr("fringe.cli.printing.click.echo", full)
    monkeypatch.setattr("fringe.cli.printing.drop_output", lambda: None)
    answer(as_json, lambda: {"visit": 3, "kept": True}, lambda: ["Visit 3"])
    err = capsys.readouterr().err
    assert err.startswith("fringe: visit 3 is kept, do not log it again; the answer cannot be")
    with pytest.raises(OSError, match="No space"):
        answer(as_json, lambda: {"visit": 3}, lambda: ["Visit 3"])
