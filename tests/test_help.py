"""Help agrees with the program: short lines, examples that run."""

from __future__ import annotations

import io
import itertools
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import click
import pytest

from calling import Answer
from commandline import commands, example_lines
from fringe.cli import COMMANDS, cli, main

pytestmark = pytest.mark.usefixtures("known_fits")
WORDS = commands()
ROOT = Path(__file__).parents[1]
FRINGE = Path(sys.executable).with_name("fringe")


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_says_what_the_command_says(name: str) -> None:
    """The line in `fringe --help` is the command's own short help."""
    assert COMMANDS[name][1] == WORDS[name].get_short_help_str(limit=200)


def test_the_list_shows_every_line_whole() -> None:
    """No line of the command list is cut off at the width of a terminal."""
    text = cli.get_help(click.Context(cli, terminal_width=80))
    for name, (_, line) in COMMANDS.items():
        assert f"{name} " in text
        assert line in " ".join(text.split())


@pytest.mark.parametrize("words", WORDS)
def test_every_parameter_has_help(words: str) -> None:
    """Each option of each command says in its help what it is for."""
    silent = [
        option.opts[0]
        for option in WORDS[words].params
        if isinstance(option, click.Option) and not (option.hidden or option.help)
    ]
    assert silent == []


@pytest.mark.parametrize("words", [w for w, c in WORDS.items() if not isinstance(c, click.Group)])
def test_every_command_takes_json(words: str) -> None:
    """Each command that does something has `--json`."""
    assert "--json" in {name for option in WORDS[words].params for name in option.opts}


@pytest.mark.parametrize("words", WORDS)
def test_every_command_has_an_example(words: str) -> None:
    """What `--help` prints ends with examples, and the last of them calls this command."""
    lines = example_lines(WORDS[words])
    assert lines
    assert f"{lines[-1]} ".startswith(f"fringe {words} ")
    printed = WORDS[words].get_help(click.Context(WORDS[words], terminal_width=80)).rstrip()
    assert printed.count("Example:") == 1
    assert printed.endswith(lines[-1].split()[-1])
    assert printed.rindex("Options:") < printed.index("Example:")


def test_the_list_ends_with_an_example() -> None:
    """`fringe --help` ends with the command that shows it all."""
    assert cli.get_help(click.Context(cli)).rstrip().endswith("Example:\n    fringe demo")


SESSION = re.compile(r"\.h5$")
PICTURE = re.compile(r"\.(?:jpe?g|png|tiff?)$")
# What an example builds on: the examples of another command, or a line, run before it.
VISIT = "fringe log 'shop/concave 1' rings.jpg --stage polish --minutes 40"
BEFORE = {
    VISIT: "surface add",
    "surface change": "surface add",
    "surface list": "surface add",
    "surface show": "surface add",
    "instrument list": "instrument",
    "instrument show": "instrument",
    "log": "surface add",
    "plate log": "plate",
    "plate show": "plate",
    "plate surfaces": "plate",
    "plate adopt": "plate",
    "progress": VISIT,
    "plan": VISIT,
    "budget": VISIT,
    "report": "pair",
    "bench": "surface add",
    "pair": "surface add",
    "surfaces": "surface add",
    "surface move": "surface add",
    "check": VISIT,
    "reread": VISIT,
    "export": VISIT,
    "import": "export",
}


@pytest.fixture(scope="module")
def example_photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Render the photograph that examples call by whatever name, by the installed program."""
    path = tmp_path_factory.mktemp("photo") / "photo.png"
    scene = "--lamp sodium --power 6 --tilt 1 --diameter 150mm --size 240 --seed 1"
    subprocess.run([FRINGE, "synth", "--out", path, *shlex.split(scene)], check=True)
    return path


def run_example(line: str, folder: Path, photo: Path) -> None:
    """Run one line in a folder where the files that it reads are laid out."""
    typed = shlex.split(line)
    for before, word in itertools.pairwise(typed):
        if PICTURE.search(word) and before not in ("--out", "--picture", "--figure"):
            (folder / word).parent.mkdir(parents=True, exist_ok=True)
            if not (folder / word).exists():  # a line before may have rendered it
                # every photograph is another one: a record asks about one that it has already
                (folder / word).write_bytes(photo.read_bytes() + word.encode())
        elif SESSION.search(word):  # any session that was logged before stands for it
            logged = min(folder.glob("shop/*/0*.h5"))
            (folder / word).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(logged, folder / word)
    done = called(typed[1:], folder)
    assert (done.status, done.err) == (0, ""), line
    assert done.out
    if "--json" in typed:
        assert isinstance(done.json, dict)


def called(words: list[str], folder: Path) -> Answer:
    """Run the program in this process; starting it anew takes longer than most examples."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        # so does starting further processes for the few photographs that there are
        patch.setattr("fringe.parallel.cores", lambda: 1)
        patch.setattr("fringe.judge.advice.plan.LIVES", 12)  # of `fringe plan`, enough to show
        patch.delenv("COLUMNS", raising=False)
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as done:
            main(words)
    return Answer(int(done.value.code or 0), out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def folder_before(
    example_photo: Path, tmp_path_factory: pytest.TempPathFactory
) -> Callable[[str], Path]:
    """Return what makes a command's folder: the shipped files, and what its examples build on."""
    done: dict[str | None, Path] = {}

    def folder_after(words: str | None) -> Path:
        if words not in done:
            folder = tmp_path_factory.mktemp("examples") / "bench"
            if words is None:
                shutil.copytree(ROOT / "examples", folder / "examples")
                (folder / "incoming").mkdir()
                shutil.copy(example_photo, folder / "incoming" / "first.png")
            else:
                shutil.copytree(folder_after(BEFORE.get(words)), folder)
                for line in example_lines(WORDS[words]) if words in WORDS else [words]:
                    run_example(line, folder, example_photo)
            done[words] = folder
        return done[words]

    return lambda words: folder_after(BEFORE.get(words))


# the run of the shipped example has tests of its own, tests/demo
@pytest.mark.parametrize("words", [words for words in WORDS if words != "demo"])
def test_examples_run(
    words: str, folder_before: Callable[[str], Path], example_photo: Path, tmp_path: Path
) -> None:
    """Each example line of the help does what it says: status 0, and JSON where it asks for it."""
    folder = shutil.copytree(folder_before(words), tmp_path / "bench")
    for line in example_lines(WORDS[words]):
        run_example(line, folder, example_photo)
