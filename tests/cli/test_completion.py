"""Completion by the Tab key, as `fringe help keyboard` tells how to switch it on."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from fringe.help import topic_text

FRINGE = Path(sys.executable).with_name("fringe")
TOPIC = topic_text("keyboard")


def completed(*words: str) -> list[str]:
    """What the last word may become."""
    where = {"COMP_WORDS": " ".join(words), "COMP_CWORD": str(len(words) - 1)}
    done = subprocess.run(
        [FRINGE],
        env=os.environ | where | {"_FRINGE_COMPLETE": "bash_complete"},
        capture_output=True,
        text=True,
        check=True,
    )
    return [line.partition(",")[2] for line in done.stdout.splitlines()]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("fringe", "rea"), {"read"}),
        (("fringe", "surface", "a"), {"add"}),
        (("fringe", "read", "--camera-"), {"--camera-distance"}),
        (("fringe", "read", "--work", ""), {"convex", "concave"}),
        (("fringe", "help", "re"), {"refusals", "record"}),
    ],
)
def test_words_are_completed(words: tuple[str, ...], found: set[str]) -> None:
    """Commands, subcommands, options and their choices are completed."""
    assert set(completed(*words)) == found


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_gets_its_lines(shell: str) -> None:
    """What the topic says to evaluate prints the lines for that shell."""
    assert f"{shell}_source" in TOPIC
    done = subprocess.run(
        [FRINGE],
        env=os.environ | {"_FRINGE_COMPLETE": f"{shell}_source"},
        capture_output=True,
        text=True,
        check=False,
    )
    if shutil.which(shell) is None and done.returncode:
        pytest.skip(f"{shell} is not installed")
    assert (done.returncode, done.stderr) == (0, "")
    assert f"_FRINGE_COMPLETE={shell}_complete" in done.stdout
