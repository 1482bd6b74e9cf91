"""The documents agree with the program and with the CI script."""

from __future__ import annotations

import ast
import functools
import itertools
import re
import shlex
import shutil
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import click
import pytest

from calling import call
from commandline import blocks, commands, console_lines
from fringe.cli import cli
from fringe.orders.reading import Quality, Reading
from fringe.photo.ellipse import Edge

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
WORDS = commands()


LINES = [line for block in blocks(README, "console") for line in console_lines(block)]


def test_readme_gives_the_test_command_of_the_ci_script() -> None:
    """The line that CI runs stands in README.md and DEVELOPERS.md, letter by letter."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    command = next(line for line in script if line.startswith("python3 -m venv"))
    for text in (README, DEVELOPERS):
        assert command in [line for block in blocks(text, "sh") for line in block.splitlines()]


def test_readme_starts_with_two_commands() -> None:
    """The first two blocks are one command each: the example, then the tests."""
    first, second = blocks(README, "sh")[:2]
    assert first.count("\n") == second.count("\n") == 1
    assert first.rstrip().endswith("fringe demo")
    assert second.rstrip().endswith("pytest")


@pytest.mark.parametrize("words", WORDS)
def test_every_command_is_in_the_readme(words: str) -> None:
    """Each command and subcommand stands in README.md as it is typed."""
    installed = re.findall(r"\.venv/bin/(fringe .*)", "\n".join(blocks(README, "sh")))
    assert any(f"{line} ".startswith(f"fringe {words} ") for line in LINES + installed)


def resolve(line: str) -> tuple[click.Command, list[str]]:
    """Return the command that a console line calls, and the words after its name."""
    _, *words = shlex.split(line, comments=True)
    command: click.Command = cli
    while isinstance(command, click.Group) and words and not words[0].startswith("-"):
        inner = command.get_command(click.Context(command), words[0])
        assert inner is not None, f"no command {words[0]!r} in {line!r}"
        command, words = inner, words[1:]
    return command, words


@pytest.mark.parametrize("line", LINES)
def test_readme_lines_use_options_that_exist(line: str) -> None:
    """Every option in README.md's console lines is one of its command."""
    command, words = resolve(line)
    known = {name for option in command.params for name in option.opts + option.secondary_opts}
    used = {word.split("=")[0] for word in words if word.startswith("--")}
    assert used <= known | {"--help"}


@pytest.mark.parametrize("option", sorted(set(re.findall(r"`(--[a-z][a-z-]+)", README))))
def test_options_named_in_the_text_exist(option: str) -> None:
    """An option that README.md's text names belongs to some command."""
    known = {
        name for command in [cli, *WORDS.values()] for one in command.params for name in one.opts
    }
    assert option in known | {"--help"}


def calls(block: str) -> list[tuple[str, list[str]]]:
    """Split a console block into what is typed and what the README shows as the answer."""
    whole = re.sub(r"\\\n\s*", "", block)
    parts = re.split(r"^\$ ", whole, flags=re.MULTILINE)
    assert parts[0] == ""
    return [(typed, shown) for typed, *shown in (part.splitlines() for part in parts[1:])]


def wording(line: str) -> str:
    """Return a line of an answer without its numbers, which better code may change."""
    return re.sub(r"[\d.,+−±\s]+", " ", line).strip()


def test_readme_can_be_typed_from_top_to_bottom(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Every console line of README.md runs after those before it and answers as shown there."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    (tmp_path / "incoming").mkdir()  # where a camera has put a photograph
    shutil.copy(min((ROOT / "examples").rglob("*.jpg")), tmp_path / "incoming")
    monkeypatch.chdir(tmp_path)
    # further processes would take longer to start than to read what few photographs there are
    monkeypatch.setattr("fringe.parallel.cores", lambda: 1)
    for typed, shown in (pair for block in blocks(README, "console") for pair in calls(block)):
        # in this process: starting the program anew for each line takes as long as all of them
        done = call(capfd, *shlex.split(typed)[1:])
        assert (done.status, done.err) == (0, ""), typed
        answer = iter([wording(line) for line in done.out.splitlines()])
        missing = [line for line in shown if line.strip() != "..." and wording(line) not in answer]
        assert missing == [], f"{typed} answered\n{done.out}"


def reading_json() -> dict[str, object]:
    return Reading(589.3, Quality(0.8, 0.9, 0.1), edge=Edge(10, 10, 5, 5)).to_json()


def test_readme_lists_the_keys_of_a_reading() -> None:
    """The table of JSON keys has the keys that a reading has, all of them, in its order."""
    table = README.split("| key | meaning |")[1].split("\n\n")[0]
    assert re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE) == list(reading_json())


@pytest.mark.parametrize("key", ["edge", "quality"])
def test_readme_names_the_parts_of_a_key(key: str) -> None:
    """Where a key holds an object, its row names every key inside."""
    row = next(line for line in README.splitlines() if line.startswith(f"| `{key}` |"))
    inner = reading_json()[key]
    assert isinstance(inner, dict)
    assert re.findall(r"`(\w+)`", row)[1:] == list(inner)


def test_nomenclature_has_every_name_of_a_reading() -> None:
    """Each quantity of a reading stands in the nomenclature; half-widths follow their rule."""
    page = DEVELOPERS.split("## Nomenclature")[1].split("## Release")[0]
    plain = {name for name in reading_json() if "_u95_" not in name} - {
        "sense_source",
        "edge_source",
        "iso10110",
        "rings",
        "quality",
    }
    assert {name for name in plain if f"`{name}`" not in page} == set()


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_files_that_documents_name_exist(text: str) -> None:
    """A path that a document names is there."""
    named = set(re.findall(r"`((?:fringe|tests|calibration|examples|\.ci)/[\w./]*)`", text))
    assert named
    assert {path for path in named if not (ROOT / path).exists()} == set()


def anchor(heading: str) -> str:
    """How a heading is linked to: lower case, spaces as hyphens, no other marks."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_links_within_a_document_lead_somewhere(text: str) -> None:
    """What a document links to within itself is one of its headings, and pictures are there."""
    headings = {anchor(one) for one in re.findall(r"^##+ (.+)$", text, re.MULTILINE)}
    assert set(re.findall(r"\]\(#([^)]*)\)", text)) <= headings
    files = re.findall(r"\]\(([^)#:]+)\)", text)
    assert {one for one in files if not (ROOT / one).is_file()} == set()


@functools.cache
def messages() -> set[str]:
    """Return every text in the program's source, formatted ones in their pieces."""
    found = set()
    for path in (ROOT / "fringe").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
    return found


REFUSALS = README.split("| the line says | what helps |")[1].split("\n\n")[0]


EXPLAINED = [
    piece
    for cell in re.findall(r"^\| (`.+?) \|", REFUSALS, re.MULTILINE)
    for piece in re.findall(r"`([^`]+)`", cell)
]


@pytest.mark.parametrize("line", EXPLAINED)
def test_refusals_in_the_readme_are_the_programs(line: str) -> None:
    """A refusal that README.md explains is one that the program can utter, in these words."""
    assert any(line in message for message in messages())


# what only a program that calls the library can be told
FROM_PYTHON = ("{}: an array of shape", "{}: samples of type")


def refusals() -> list[str]:
    """Every message that refuses a photograph, `{}` for what is filled in.

    Those are all `Refused` of the reading, and all `BadInput` of the loading; options that are
    wrong say themselves what is to be typed.
    """
    found = set()
    folders = [(ROOT / "fringe" / one).glob("*.py") for one in ("orders", "photo")]
    for path in itertools.chain(*folders):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.args):
                continue
            loads = path.name in ("load.py", "_decode.py") and node.func.id == "BadInput"
            if node.func.id == "Refused" or loads:
                found.add(shown_text(node.args[0]))
    return sorted(one for one in found if not one.startswith(FROM_PYTHON))


def shown_text(node: ast.expr) -> str:
    """The text that an expression makes, as far as the source tells."""
    if isinstance(node, ast.JoinedStr):
        return "".join(shown_text(one) for one in node.values)
    if isinstance(node, ast.Constant):
        return str(node.value)
    return "{}"


@pytest.mark.parametrize("message", refusals())
def test_every_refusal_is_in_the_readme(message: str) -> None:
    """A message that refuses a photograph has a row in README.md that says what helps."""
    assert any(piece in message for piece in EXPLAINED)


@pytest.mark.parametrize("block", blocks(README, "python"))
def test_python_in_the_readme_compiles(block: str) -> None:
    """The lines of Python in README.md are Python."""
    compile(block, "README.md", "exec")


def requirement_names(requirements: list[str]) -> set[str]:
    return {re.split(r"[^\w.-]", one)[0].lower().replace("_", "-") for one in requirements}


def test_pins_cover_every_requirement() -> None:
    """Each package that the project asks for has one exact version in the pins."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = (ROOT / ".ci" / "pins.txt").read_text(encoding="utf-8").splitlines()
    pins = [line for line in lines if line and not line.startswith("#")]
    assert all(re.fullmatch(r"[\w.-]+==[\w.]+( ; sys_platform == \"win32\")?", one) for one in pins)
    names = [one.split("==")[0].lower().replace("_", "-") for one in pins]
    assert len(names) == len(set(names))
    asked = project["dependencies"] + project["optional-dependencies"]["test"]
    assert requirement_names(asked) <= set(names)


def top_names(tree: ast.Module) -> set[str]:
    """Return the first name of every module that a file imports, anywhere in it."""
    nodes = list(ast.walk(tree))
    plain = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    named = {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}
    return {name.split(".")[0] for name in plain | named}


def test_imports_are_declared() -> None:
    """Every library that the package imports is one that it asks for, not a guest of another."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [
        one
        for name, all_ in project["optional-dependencies"].items()
        for one in all_
        if name != "test"
    ]
    declared = requirement_names(project["dependencies"] + extras)
    used = set()
    for path in (ROOT / "fringe").rglob("*.py"):
        used |= top_names(ast.parse(path.read_text(encoding="utf-8")))
    owners = packages_distributions()
    packages = {name.lower().replace("_", "-") for top in used for name in owners.get(top, [])}
    assert "numpy" in packages
    assert packages - {"fringe"} - declared == set()


def test_every_package_is_installed() -> None:
    """Each folder of the package is named in pyproject.toml, so that an installation is whole."""
    tools = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]
    folders = [path.parent for path in (ROOT / "fringe").rglob("__init__.py")]
    names = {".".join(folder.relative_to(ROOT).parts) for folder in folders}
    assert set(tools["setuptools"]["packages"]) == names | {"fringe.calibration", "fringe.examples"}
