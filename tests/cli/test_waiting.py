"""What a terminal shows while something takes its time, and that nothing else ever does."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from fringe.archive.store.session import Visit
from fringe.archive.store.write import log_visit
from sample_visits import FRINGES_ALONE, full_surface, hours, power_reading

FRINGE = str(Path(sys.executable).with_name("fringe"))
WAIT = "from fringe.cli._waiting import waiting\nwith waiting('reading rings.jpg'{}):\n    pass\n"
STEP = (
    "from fringe.cli._waiting import steps\nwith steps('report'{}) as tell:\n"
    "    tell(1, 4)\n    tell(4, 4)\n"
)


def on_terminal(*words: str, cwd: Path | None = None) -> tuple[str, str]:
    """Run with a terminal for standard error alone; return both outputs."""
    ours, theirs = pty.openpty()
    try:
        done = subprocess.run(
            words,
            stdout=subprocess.PIPE,
            stderr=theirs,
            text=True,
            check=True,
            cwd=cwd,
            env=os.environ | {"TERM": "xterm", "COLUMNS": "80"},
        )
    finally:
        os.close(theirs)
    said = b""
    try:
        while part := os.read(ours, 65536):
            said += part
    except OSError:  # the other end is closed
        pass
    os.close(ours)
    return done.stdout, said.decode()


@pytest.mark.parametrize(("code", "words"), [(WAIT, "reading rings.jpg"), (STEP, "report")])
def test_a_terminal_is_told(code: str, words: str) -> None:
    """A terminal sees what is going on, on standard error; asked to be quiet it sees nothing."""
    out, err = on_terminal(sys.executable, "-c", code.format(""))
    assert (out, words in err) == ("", True)
    assert on_terminal(sys.executable, "-c", code.format(", quiet=True")) == ("", "")


@pytest.mark.parametrize("code", [WAIT, STEP])
def test_a_file_is_not(code: str) -> None:
    """Where standard error is no terminal, nothing is written to it."""
    done = subprocess.run(
        [sys.executable, "-c", code.format("")], capture_output=True, text=True, check=True
    )
    assert (done.stdout, done.stderr) == ("", "")


def test_commands_show_it_and_json_does_not(tmp_path: Path) -> None:
    """A command that takes its time says so on a terminal, and with --json it does not."""
    words = (FRINGE, "synth", "--out", "a.png", "--size", "100", "--seed", "1", "--force")
    out, err = on_terminal(*words, cwd=tmp_path)
    assert out.startswith("wrote a.png")
    assert "rendering" in err
    out, err = on_terminal(*words, "--json", cwd=tmp_path)
    assert (out[0], err) == ("{", "")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("check", "shop"), "checking"),
        (("surfaces", "shop"), "looking through the archive"),
        (("progress", "shop/concave 1"), "judging the visits"),
        (("budget", "shop/concave 1"), "working it out"),
        (("export", "shop/concave 1", "out.nc"), "exporting"),
        (("reread", "shop/concave 1"), "computing again"),
    ],
)
def test_what_grows_with_the_record_is_told(
    words: tuple[str, ...], says: str, tmp_path: Path
) -> None:
    """Commands that go through visits, of which there may be thousands, say that they do."""
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    log_visit(surface, Visit(readings=(power_reading(1.25),)), now=hours(1))
    out, err = on_terminal(FRINGE, *words, cwd=tmp_path)
    assert out
    assert says in err
    if words[0] == "check":
        assert "1/1" in err  # of a total
