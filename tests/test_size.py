"""Files and functions stay short enough to be read at once."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]
MOST_LINES_OF_A_FILE = 500
MOST_LINES_OF_A_FUNCTION = 60  # its docstring not counted


def sources() -> list[Path]:
    """Every file of the package and of its tests."""
    return [path for room in ("fringe", "tests") for path in sorted((TOP / room).rglob("*.py"))]


def own_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function from its `def` on, without those of its docstring."""
    lines = (function.end_lineno or 0) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function) is not None:
        lines -= (first.end_lineno or 0) - first.lineno + 1
    return lines


def long_functions(source: str) -> list[str]:
    """Names of the functions of a source text that are longer than is allowed."""
    return [
        node.name
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and own_lines(node) > MOST_LINES_OF_A_FUNCTION
    ]


def test_no_file_is_too_long() -> None:
    """No file of the package or of its tests has more than 500 lines."""
    lines = {path.relative_to(TOP): len(path.read_text("utf-8").splitlines()) for path in sources()}
    assert len(lines) > 400
    assert {path: n for path, n in lines.items() if n > MOST_LINES_OF_A_FILE} == {}


def test_no_function_is_too_long() -> None:
    """No function has more than 60 lines besides its docstring."""
    found = {path.relative_to(TOP): long_functions(path.read_text("utf-8")) for path in sources()}
    assert {path: names for path, names in found.items() if names} == {}


@pytest.mark.parametrize(("lines", "long"), [(59, []), (60, ["f"])])
def test_the_rule_catches(lines: int, long: list[str]) -> None:
    """A function over the limit is found, and its docstring is not held against it."""
    body = "\n".join(f"    x = {i}" for i in range(lines))
    assert long_functions(f'def f():\n    """One.\n\n    Two.\n    """\n{body}\n') == long
