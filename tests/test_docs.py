"""The documents agree with the program and with the CI script."""

from __future__ import annotations

import ast
import functools
import itertools
import re
import shlex
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import click
import pytest

import shown
from calling import call
from commandline import blocks, commands, console_lines
from fringe.cli import cli
from fringe.help import TOPICS, topic_text
from fringe.orders.reading import Quality, Reading
from fringe.photo.ellipse import Edge

ROOT = Path(__file__).parents[1]
README = shown.README.read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TEXTS = {name: topic_text(name) for name in TOPICS}
PAGES = {"README": README, **TEXTS}
WORDS = commands()


LINES = [
    line
    for text in PAGES.values()
    for block in blocks(text, "console")
    for line in console_lines(block)
]


def test_readme_gives_the_test_command_of_the_ci_script() -> None:
    """The line that CI runs stands in README.md and DEVELOPERS.md, letter by letter."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    command = next(line for line in script if line.startswith("python3 -m venv"))
    for text in (README, DEVELOPERS):
        assert command in [line for block in blocks(text, "sh") for line in block.splitlines()]


PUBLISHED = sorted((ROOT / "tests" / "published").glob("test_*.py"))


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: path.stem)
def test_checks_against_sources_say_where_their_values_are_from(path: Path) -> None:
    """Each test's docstring says (published), (analytic) or (regression), perhaps with a remark.

    Published is what the source prints, analytic what follows from its inputs by a formula or in
    another program, regression what this program gave before.
    """
    tests = [
        node
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    ]
    said = re.compile(r"\((published|analytic|regression)[;)]")
    assert tests
    assert not [test.name for test in tests if not said.search(ast.get_docstring(test) or "")]


def test_readme_starts_with_two_commands() -> None:
    """The first two blocks are one command each: the example, then the tests."""
    first, second = blocks(README, "sh")[:2]
    assert first.count("\n") == second.count("\n") == 1
    assert first.rstrip().endswith("fringe demo")
    assert second.rstrip().endswith("pytest")


@pytest.mark.parametrize("words", WORDS)
def test_every_command_is_in_the_documents(words: str) -> None:
    """Each command and subcommand stands in README.md or a topic as it is typed."""
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
def test_lines_use_options_that_exist(line: str) -> None:
    """Every option in the console lines of README.md and the topics is one of its command."""
    command, words = resolve(line)
    known = {name for option in command.params for name in option.opts + option.secondary_opts}
    used = {word.split("=")[0] for word in words if word.startswith("--")}
    assert used <= known | {"--help"}


NAMED = sorted({one for text in PAGES.values() for one in re.findall(r"`(--[a-z][a-z-]+)", text)})


@pytest.mark.parametrize("option", NAMED)
def test_options_named_in_the_text_exist(option: str) -> None:
    """An option that the text of README.md or of a topic names belongs to some command."""
    known = {
        name for command in [cli, *WORDS.values()] for one in command.params for name in one.opts
    }
    assert option in known | {"--help"}


@pytest.mark.usefixtures("known_fits")
def test_documents_can_be_typed_from_top_to_bottom(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Every console line of the topics runs after those before it and answers as shown there.

    README.md shows some of the same lines, with the same answers. Where an answer differs and
    should, `python tests/shown.py` makes the pages anew.
    """
    shown.lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    # further processes would take longer to start than to read what few photographs there are
    monkeypatch.setattr("fringe.parallel.cores", lambda: 1)
    monkeypatch.setattr("fringe.judge.advice.plan.LIVES", 12)  # what is shown has none of it
    answers = {}
    for typed in (line for name in shown.TYPED for line in shown.typed_lines(TEXTS[name])):
        # in this process: starting the program anew for each line takes as long as all of them
        done = call(capfd, *shlex.split(typed)[1:])
        assert (done.status, done.err) == (0, ""), typed
        answers[typed] = done.out
    assert set(shown.typed_lines(README)) <= set(answers)
    for name in ("README", *shown.TYPED):
        assert shown.with_answers(PAGES[name], answers) == PAGES[name], name


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_the_tables_are_the_programs(text: str) -> None:
    """The tables list the topics, commands and folders that there are, in their own words.

    `python tests/shown.py tables` makes them anew.
    """
    assert "<!-- made: " in text
    assert shown.with_tables(text) == text


@pytest.mark.parametrize(
    ("lines", "found"),
    [
        (["  6  polish  +1.50 ± 0.02", "..."], ["  6  polish  +1.40 ± 0.01", "..."]),
        (["  7  polish  +1.50 ± 0.02"], ["  7  polish  +0.3 ± 0.1"]),
    ],
)
def test_shown_lines_are_made_anew(lines: list[str], found: list[str]) -> None:
    """A shown line becomes that of the same number and wording, whatever its figures are."""
    printed = "  6  polish  +1.40 ± 0.01\n  7  polish  +0.3 ± 0.1\n"
    assert shown.refreshed(lines, printed) == found
    with pytest.raises(ValueError, match="is not what is printed"):
        shown.refreshed(["  7  grind  +1.50 ± 0.02"], printed)


def reading_json() -> dict[str, object]:
    return Reading(589.3, Quality(0.8, 0.9, 0.1), edge=Edge(10, 10, 5, 5)).to_json()


READ_KEYS = TEXTS["json"].split("## fringe read\n\n")[1].split("\n\n")[0]


def test_help_lists_the_keys_of_a_reading() -> None:
    """The list of JSON keys has the keys that a reading has, all of them, in its order."""
    assert re.findall(r"^- `(\w+)`: ", READ_KEYS, re.MULTILINE) == list(reading_json())


@pytest.mark.parametrize("key", ["edge", "quality"])
def test_help_names_the_parts_of_a_key(key: str) -> None:
    """Where a key holds an object, its entry names every key inside."""
    row = next(one for one in READ_KEYS.split("\n- ") if one.startswith(f"`{key}`: "))
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


DOCUMENTS = pytest.mark.parametrize(
    "name", ["README.md", "DEVELOPERS.md", "tests/benchmarks/RESULTS.md"]
)


@DOCUMENTS
def test_files_that_documents_name_exist(name: str) -> None:
    """A path that a document names is there."""
    text = (ROOT / name).read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:fringe|tests|calibration|examples|\.ci)/[\w./]*)`", text))
    assert named
    assert {path for path in named if not (ROOT / path).exists()} == set()


def anchor(heading: str) -> str:
    """How a heading is linked to: lower case, spaces as hyphens, no other marks."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


@DOCUMENTS
def test_links_of_a_document_lead_somewhere(name: str) -> None:
    """What a document links to within itself is one of its headings; files and pictures exist."""
    path = ROOT / name
    text = path.read_text(encoding="utf-8")
    headings = {anchor(one) for one in re.findall(r"^##+ (.+)$", text, re.MULTILINE)}
    assert set(re.findall(r"\]\(#([^)]*)\)", text)) <= headings
    files = re.findall(r"\]\(([^)#:]+)\)", text)
    assert files or name == "DEVELOPERS.md"
    assert {one for one in files if not (path.parent / one).is_file()} == set()


@functools.cache
def messages() -> set[str]:
    """Return every text in the program's source, formatted ones in their pieces."""
    found = set()
    for path in (ROOT / "fringe").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
    return found


# each entry of the topic is what the line says, in pieces, and then what helps
EXPLAINED = [
    piece
    for entry in re.split(r"^- ", TEXTS["refusals"], flags=re.MULTILINE)[1:]
    for piece in re.findall(r"`([^`]+)`", " ".join(entry.split()).partition("`: ")[0] + "`")
]


@pytest.mark.parametrize("line", EXPLAINED)
def test_explained_refusals_are_the_programs(line: str) -> None:
    """A refusal that `fringe help refusals` explains is one that the program can utter."""
    assert any(line in message for message in messages())


# what only a program that calls the library can be told
FROM_PYTHON = ("{}: an array of shape", "{}: samples of type")


def refusals() -> list[str]:
    """Every message that refuses a photograph, `{}` for what is filled in.

    Those are all `Refused` of the reading, and all `BadInput` of the loading; options that are
    wrong say themselves what is to be typed.
    """
    found = set()
    folders = [(ROOT / "fringe" / one).rglob("*.py") for one in ("orders", "photo")]
    for path in itertools.chain(*folders):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.args):
                continue
            loads = path.name in ("load.py", "decode.py") and node.func.id == "BadInput"
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
def test_every_refusal_is_explained(message: str) -> None:
    """A message that refuses a photograph has an entry in the topic that says what helps."""
    assert any(piece in message for piece in EXPLAINED)


@pytest.mark.parametrize("block", [one for t in PAGES.values() for one in blocks(t, "python")])
def test_python_in_the_documents_compiles(block: str) -> None:
    """The lines of Python in README.md and the topics are Python."""
    compile(block, "documents", "exec")


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
