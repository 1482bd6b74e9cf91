"""What a terminal's encoding lacks is written with what it has, and JSON stays JSON."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

from fringe.cli.printing import answer
from fringe.cli.terminal import can_write, write_with_what_it_has

TEXT = "−1.5 ± 0.1 µm χ"


@pytest.mark.parametrize(
    ("encoding", "written"),
    [
        ("utf-8", TEXT),
        ("cp1252", "-1.5 ± 0.1 µm ?"),
        ("latin-1", "-1.5 ± 0.1 µm ?"),
        ("ascii", "-1.5 +- 0.1 um ?"),
    ],
)
def test_letters_have_a_stand_in(monkeypatch, encoding, written):
    """A minus that an encoding lacks is a hyphen; nothing raises."""
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding))
    write_with_what_it_has()
    print(TEXT)
    sys.stdout.flush()
    assert raw.getvalue().decode(encoding).splitlines() == [written]
    assert can_write(TEXT) == (encoding == "utf-8")


def test_json_is_told_whole(monkeypatch):
    """Where an encoding lacks a letter, JSON writes its number."""
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, "cp1252"))
    answer(True, lambda: {"text": TEXT}, list)
    sys.stdout.flush()
    assert json.loads(raw.getvalue()) == {"text": TEXT}


def test_the_program_writes_to_any_terminal(tmp_path):
    """The installed program prints a minus to a terminal that has none."""
    words = ("convert", "--fringes=-3", "--radius", "3048mm", "--diameter", "150mm")
    done = subprocess.run(
        [Path(sys.executable).with_name("fringe"), *words, "--wavelength", "589.3nm"],
        env={"PYTHONIOENCODING": "cp1252", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        cwd=tmp_path,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"-3 fringes" in done.stdout
