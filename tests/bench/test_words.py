"""Messages of the library as the page says them."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import fringe
from fringe.bench.words import bench_words

TOP = Path(fringe.__file__).parent
# rooms whose messages can come to the page
ROOMS = ("archive", "judge", "orders", "optics", "photo", "units.py", "length_lists.py")
TYPED = re.compile(r"--[a-z]|`fringe |\bfringe (?:log|read|settle|pair|surface|progress)\b")


def messages() -> Iterator[str]:
    """Texts of the library that name an option or a command, a number in each hole."""
    for room in ROOMS:
        place = TOP / room
        for path in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
            source = path.read_text("utf-8")
            if not TYPED.search(source):
                continue
            tree = ast.parse(source)
            documented = ast.Module | ast.ClassDef | ast.FunctionDef
            inside = {part for one in ast.walk(tree) if isinstance(one, ast.JoinedStr)
                      for part in one.values}  # fmt: skip
            told = {ast.get_docstring(one, clean=False) for one in ast.walk(tree)
                    if isinstance(one, documented)}  # fmt: skip
            for node in ast.walk(tree):
                text = _text(node)
                whole = node not in inside and text not in told
                if whole and text is not None and text.count(" ") > 1 and TYPED.search(text):
                    yield text


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(_text(part) or "7" for part in node.values)
    return None


def test_no_word_of_the_command_line_is_left():
    """Whatever message of the library comes to the page names no option and no command."""
    found = set(messages())
    assert len(found) > 100  # the walk over the library sees them
    left = {text: bench_words(text) for text in found if TYPED.search(bench_words(text))}
    assert left == {}


def test_what_is_told_to_be_done_can_be_done_on_the_page():
    """Advice names what stands on the page, or says that it is done at the computer."""
    told = {
        "no edge; or read rings without one with --edge none": "no edge; or tap Rings without an "
        "edge",
        "a.mov: is a film clip; its frames are read as one with --burst": "a.mov: is a film clip; "
        "film it with Film",
        "there is none yet; `fringe instrument add` makes a record": "there is none yet; make a "
        "record under More, Instruments",
    }
    assert {text: bench_words(text) for text in told} == told


def test_what_a_person_wrote_stays():
    """A message without an option is not touched."""
    text = "rings -- the second.jpg: no fringes found"
    assert bench_words(text) == text
