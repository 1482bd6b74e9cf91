"""Parts of the documents that show what the program is or prints: held against it, made anew.

`python tests/shown.py` runs the example and every console line of the documents, and rewrites
what README.md and the help topics show of it, with the pictures and the tables; with `tables`
it makes the tables alone, which takes no time. Tests compare; they never write.

In a block that shows a program's answer, a line stands for the next line of the answer with the
same wording; `...` stands for what is left out. So numbers are made anew, and a line whose
wording is gone is an error that somebody has to look at.
"""

from __future__ import annotations

import ast
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image

from fringe.cli import COMMANDS
from fringe.help import TOPICS, topic_heading, topic_text

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
HELP = ROOT / "fringe" / "help"
PICTURES = ROOT / "examples" / "pictures"
# the topics whose console lines are typed one after the other, in this order
TYPED = ("job", "sense")
PICTURE_WIDTH, PICTURE_COLOURS = 900, 128
_MADE = re.compile(r"(<!-- made: (\w+) -->\n)(.*?)(<!-- end -->\n)", re.DOTALL)
_CONSOLE = re.compile(r"(^```console\n)(.*?)(^```$)", re.MULTILINE | re.DOTALL)


def calls(block: str) -> list[tuple[str, list[str]]]:
    """Split a console block into what is typed and what it shows as the answer."""
    whole = re.sub(r"\\\n\s*", "", block)
    parts = re.split(r"^\$ ", whole, flags=re.MULTILINE)
    assert parts[0] == ""
    return [(typed, shown) for typed, *shown in (part.splitlines() for part in parts[1:])]


def wording(line: str) -> str:
    """Return a line without its numbers."""
    return re.sub(r"[\d.,+−±\s]+", " ", line).strip()


def _same(one: str, other: str) -> bool:
    """Whether two lines have one wording and, in a list of visits, one number."""
    first, second = (re.match(r" {0,2}(\d+)  ", line) for line in (one, other))
    numbered = (first and first[1]) == (second and second[1])
    return numbered and wording(one) == wording(other)


def refreshed(shown: Iterable[str], printed: str) -> list[str]:
    """Return the shown lines as the program prints them now; raise ValueError if one is gone."""
    rows, answer = [], iter(printed.splitlines())
    for line in shown:
        if line.strip() == "...":
            rows.append(line)
            continue
        now = next((one for one in answer if _same(one, line)), None)
        if now is None:
            raise ValueError(f"{line!r} is not what is printed:\n{printed}")
        rows.append(now.rstrip())
    return rows


def with_demo(text: str, printed: str) -> str:
    """Return README.md with what `fringe demo` printed in the parts that show it."""

    def made(match: re.Match[str]) -> str:
        start, name, body, end = match.groups()
        if name != "demo":
            return match[0]
        _, *lines, _ = body.splitlines()
        return start + "```text\n" + "\n".join(refreshed(lines, printed)) + "\n```\n" + end

    return _MADE.sub(made, text)


def _rooms() -> list[tuple[str, str]]:
    """Return each module at the top of the package and each folder in it, with its first line."""
    package = ROOT / "fringe"
    folders = [path.parent for path in package.rglob("__init__.py") if path.parent != package]
    named = {path: path for path in package.glob("*.py") if path.name != "__init__.py"}
    named |= {folder: folder / "__init__.py" for folder in folders}
    rows = []
    for place, path in sorted(named.items(), key=lambda item: (item[0].is_dir(), item[0])):
        about = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
        name = place.relative_to(ROOT).as_posix() + ("/" if place.is_dir() else "")
        rows.append((f"`{name}`", about.partition("\n")[0].removesuffix(".")))
    return rows


def with_tables(text: str) -> str:
    """Return a document with its tables: topics and commands, or the rooms of the code."""
    rows = {
        "rooms": _rooms(),
        "topics": [(f"`{name}`", topic_heading(name)) for name in TOPICS],
        "commands": [(f"`fringe {name}`", line) for name, (_, line) in COMMANDS.items()],
    }

    def made(match: re.Match[str]) -> str:
        start, name, _, end = match.groups()
        if name not in rows:
            return match[0]
        table = "\n".join(f"| {first} | {second} |" for first, second in rows[name])
        return f"{start}| | |\n|---|---|\n{table}\n{end}"

    return _MADE.sub(made, text)


def with_answers(text: str, answers: dict[str, str]) -> str:
    """Return a document with what the program answered in its console blocks."""

    def made(match: re.Match[str]) -> str:
        block = match[2]
        for typed, shown in calls(block):
            if shown:
                now = refreshed(shown, answers[typed])
                block = block.replace("\n".join(shown), "\n".join(now))
        return match[1] + block + match[3]

    return _CONSOLE.sub(made, text)


def typed_lines(text: str) -> list[str]:
    """Return what a document's console blocks type, each call in one line."""
    return [typed for match in _CONSOLE.finditer(text) for typed, _ in calls(match[2])]


def lay_out(folder: Path) -> None:
    """Put into a folder what the console lines expect there."""
    shutil.copytree(ROOT / "examples", folder / "examples")
    (folder / "incoming").mkdir()  # where a camera has put a photograph
    shutil.copy(min((ROOT / "examples").rglob("*.jpg")), folder / "incoming")


def picture_bytes(png: bytes) -> bytes:
    """Return a picture as README.md shows it: smaller, and with fewer colours."""
    full = Image.open(BytesIO(png)).convert("RGB")
    height = round(full.height * PICTURE_WIDTH / full.width)
    small = full.resize((PICTURE_WIDTH, height), Image.Resampling.LANCZOS)
    out = BytesIO()
    small.quantize(PICTURE_COLOURS).save(out, "PNG", optimize=True)
    return out.getvalue()


def pixels_apart(first: bytes, second: bytes) -> int | None:
    """Count the pixels of which two pictures differ by a sixth of full scale; None: in size."""
    a, b = (
        np.asarray(Image.open(BytesIO(one)).convert("RGB"), dtype=int) for one in (first, second)
    )
    return int((abs(a - b).max(axis=2) > 255 / 6).sum()) if a.shape == b.shape else None


def _answers(run: Callable[[list[str]], str]) -> dict[str, str]:
    lines = [line for name in TYPED for line in typed_lines(topic_text(name))]
    return {line: run(shlex.split(line)[1:]) for line in lines}


def make_tables() -> None:
    """Make the tables anew."""
    for page in (README, DEVELOPERS):
        page.write_text(with_tables(page.read_text("utf-8")), encoding="utf-8")


def make_answers() -> None:
    """Make anew what the documents show of the example and of other commands."""
    program = str(Path(sys.executable).with_name("fringe"))
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        lay_out(folder)

        def run(words: list[str]) -> str:
            done = subprocess.run(
                [program, *words], cwd=folder, capture_output=True, text=True, check=False
            )
            if done.returncode:
                sys.exit(f"fringe {shlex.join(words)} failed:\n{done.stderr}")
            return done.stdout

        answers = _answers(run)
        printed = run(["demo"])
        for path in PICTURES.glob("*.png"):
            fresh = (folder / "fringe-demo" / "pictures" / path.name).read_bytes()
            path.write_bytes(picture_bytes(fresh))
    for name in TYPED:
        page = HELP / f"{name}.md"
        page.write_text(with_answers(page.read_text("utf-8"), answers), encoding="utf-8")
    text = with_answers(with_demo(README.read_text("utf-8"), printed), answers)
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    make_tables()
    if sys.argv[1:] != ["tables"]:
        make_answers()
