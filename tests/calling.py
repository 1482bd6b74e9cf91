"""Calling the program in this process, as a user would; and which modules it loads."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from typing import Any

import pytest

from fringe.cli import main


@dataclass(frozen=True)
class Answer:
    """What a call printed, and its exit status."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        """The one JSON object on standard output."""
        values = json.loads(self.out)
        assert isinstance(values, dict)
        return values


def call(capsys: pytest.CaptureFixture[str], *words: object) -> Answer:
    """Run the program with these words."""
    with pytest.raises(SystemExit) as done:
        main([str(word) for word in words])
    out, err = capsys.readouterr()
    return Answer(int(done.value.code or 0), out, err)


def refused(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    """Run it with words that are to be refused; return its one line, checked for its form."""
    plain = call(capsys, *words)
    assert plain.status == 2
    assert plain.out == ""
    assert plain.err.startswith("fringe: ")
    assert plain.err.count("\n") == 1
    as_json = call(capsys, *words, "--json")
    assert as_json.status == 2
    assert as_json.json == {"error": plain.err.removeprefix("fringe: ").rstrip("\n")}
    return plain.err


def loaded(*words: str) -> set[str]:
    """Top-level modules that a call of the program loads, in a process of its own."""
    script = (
        "import sys, json\n"
        "from fringe.cli import main\n"
        "try:\n    main(sys.argv[1:])\n"
        "except SystemExit as done:\n    assert not done.code, done.code\n"
        "print(json.dumps(sorted({name.split('.')[0] for name in sys.modules})))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *words], capture_output=True, text=True, check=True
    )
    return set(json.loads(done.stdout.splitlines()[-1]))


HEAVY = {
    "numpy",
    "scipy",
    "skimage",
    "matplotlib",
    "pint",
    "uncertainties",
    "xarray",
    "h5py",
    "rich",
}
