"""Imports point one way, and starting the program loads nothing heavy."""

from __future__ import annotations

import ast
import functools
import json
import subprocess
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from commandline import commands
from fringe.cli import COMMANDS, cli

PACKAGE = Path(__file__).parents[1] / "fringe"

# What each part may import of fringe besides itself; the common ones know nothing of fringes.
COMMON = {
    "__version__",
    "errors",
    "units",
    "certificates",
    "length_lists",
    "format",
    "calibration",
    "student_t",
    "quantity",
    "files",
    "parallel",
    "threads",
    "minisign",
    "signatures",
    "help",
}
ALLOWED: dict[str, set[str]] = {
    "errors": set(),
    "units": {"errors"},
    "certificates": {"errors", "units", "student_t"},
    "length_lists": {"errors", "units"},
    "format": {"errors"},
    "student_t": {"errors"},
    "quantity": {"errors", "format", "student_t"},
    "files": {"errors"},
    "parallel": {"errors", "threads"},
    "threads": set(),
    "minisign": {"errors"},
    "signatures": {"errors", "minisign"},
    "help": {"errors"},
    "optics": COMMON,
    "photo": COMMON | {"optics"},
    "synth": COMMON | {"optics", "photo.ellipse"},
    "orders": COMMON | {"optics", "photo"},
    "judge": COMMON | {"optics", "photo", "orders"},
    "archive": COMMON | {"optics", "photo", "orders", "judge"},
    "show": COMMON | {"optics", "photo", "orders", "judge", "archive"},
    "demo": COMMON | {"optics", "photo", "orders", "judge", "archive", "show", "synth"},
    "bench": COMMON | {"optics", "photo", "orders", "judge", "archive", "show"},
    "api": COMMON | {"optics", "photo", "orders", "judge", "archive", "synth"},
    "cli": COMMON
    | {"optics", "photo", "orders", "judge", "archive", "show", "synth", "demo", "bench"},
}
# Libraries that belong to one side of the program: who may import them.
KEPT_TO = {
    "click": {"cli"},
    "rich": {"cli", "show"},
    "matplotlib": {"show"},
    "h5py": {"archive"},
    "h5netcdf": {"archive"},
    "xarray": {"archive", "show", "api"},
    "flask": {"bench"},
    "werkzeug": {"bench"},
    "uvicorn": {"bench"},
    "segno": {"bench"},
    "cryptography": {"bench", "minisign", "signatures"},
}
HEAVY = {
    "numpy",
    "scipy",
    "skimage",
    "xarray",
    "pandas",
    "h5py",
    "h5netcdf",
    "matplotlib",
    "PIL",
    "pint",
    "rich",
    "uncertainties",
    "tifffile",
    "imageio",
    "jinja2",
    "flask",
    "uvicorn",
    "dask",
    "distributed",
    "cryptography",
}


@dataclass(frozen=True)
class Import:
    """One module name that a file imports; `lazy` inside functions and for types only."""

    name: str
    line: int
    lazy: bool


def imports(source: str, module: str) -> Iterator[Import]:
    """Yield every module that a source text imports, relative ones resolved."""
    yield from _walk(ast.parse(source).body, module, lazy=False)


def _walk(nodes: list[ast.stmt], module: str, *, lazy: bool) -> Iterator[Import]:
    for node in nodes:
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(alias.name, node.lineno, lazy)
        elif isinstance(node, ast.ImportFrom):
            parent = ".".join(module.split(".")[: -node.level]) if node.level else ""
            base = ".".join(part for part in (parent, node.module) if part)
            # `from fringe.photo import ellipse` may name a module: report the longer name too
            yield from (Import(f"{base}.{alias.name}", node.lineno, lazy) for alias in node.names)
        else:
            inner = lazy or isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
            inner = inner or (isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test))
            for _, block in ast.iter_fields(node):
                if isinstance(block, list) and block and isinstance(block[0], ast.stmt):
                    yield from _walk(block, module, lazy=inner)
                elif isinstance(block, list):  # the handlers of `try`, the cases of `match`
                    for part in block:
                        yield from _walk(getattr(part, "body", []), module, lazy=inner)


def faults(source: str, module: str) -> list[str]:
    """List the imports of a module's source that its layer does not allow."""
    return _not_allowed(imports(source, module), module)


def _not_allowed(imported: Iterable[Import], module: str) -> list[str]:
    part = module.split(".")[1] if "." in module else ""
    found = []
    for one in imported:
        top, *rest = one.name.split(".")
        if top == "fringe" and rest and rest[0] != part and part:
            if not {rest[0], ".".join(rest[:2])} & ALLOWED[part]:
                found.append(f"{module}:{one.line} imports {one.name}")
        elif part not in KEPT_TO.get(top, {part}):
            found.append(f"{module}:{one.line} imports {top}")
    return found


def modules() -> dict[str, Path]:
    """Return every module of the package by its dotted name."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


MODULES = modules()


@functools.cache
def imports_of(module: str) -> tuple[Import, ...]:
    """Return every module that a file of the package imports."""
    return tuple(imports(MODULES[module].read_text(encoding="utf-8"), module))


def test_every_part_has_a_rule() -> None:
    """No part of the package stands outside the layers."""
    parts = {name.split(".")[1] for name in MODULES if "." in name}
    assert parts <= set(ALLOWED)
    assert {"optics", "photo", "orders", "judge", "archive", "show", "cli", "synth"} <= parts


@functools.cache
def file_imports() -> dict[str, set[str]]:
    """Return which files of the package each file imports, lazily and for types included."""
    return {
        module: {
            next(name for name in (one.name, one.name.rpartition(".")[0]) if name in MODULES)
            for one in imports_of(module)
            if one.name in MODULES or one.name.rpartition(".")[0] in MODULES
        }
        - {module, "fringe"}
        for module in MODULES
    }


def circle(arrows: dict[str, set[str]]) -> list[str]:
    """Return the nodes of a graph of which no order is possible; empty where there is one."""
    try:
        list(TopologicalSorter(arrows).static_order())
    except CycleError as error:
        return list(error.args[1])
    return []


def test_files_import_in_no_circle() -> None:
    """No file reaches itself through what it imports, not even for types or inside functions."""
    assert circle(file_imports()) == []
    assert circle({"a": {"b"}, "b": {"a"}}) != []


def test_rooms_of_a_layer_import_in_no_circle() -> None:
    """The sub-folders of one folder have an order, as the layers have."""
    arrows: dict[str, set[str]] = {}
    for module, names in file_imports().items():
        for name in names:
            mine, other = module.split(".")[:3], name.split(".")[:3]
            if mine[:2] == other[:2] and mine != other and min(len(mine), len(other)) == 3:
                rooms = [f"{'.'.join(room)}" for room in (mine, other)]
                if all((PACKAGE.parent / Path(*room.split("."))).is_dir() for room in rooms):
                    arrows.setdefault(rooms[0], set()).add(rooms[1])
    assert arrows["fringe.orders.edge"] >= {"fringe.orders.fit"}
    assert circle(arrows) == []


def test_layers_have_no_way_back() -> None:
    """The rules themselves point one way: no part can reach itself through what it may import."""
    for part in ALLOWED:
        reached: set[str] = set()
        ahead = {name.split(".")[0] for name in ALLOWED[part]}
        while ahead - reached:
            reached |= ahead
            ahead = {n.split(".")[0] for p in reached for n in ALLOWED.get(p, set())}
        assert part not in reached


@pytest.mark.parametrize("module", MODULES)
def test_imports_point_one_way(module: str) -> None:
    """A module imports nothing of a layer above it, and no library kept to another layer."""
    assert _not_allowed(imports_of(module), module) == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("fringe.optics.lamps", "from fringe.photo.load import load_photo"),
        ("fringe.optics.lamps", "def f():\n    import fringe.orders.read"),
        ("fringe.photo.load", "from ..orders import read"),
        ("fringe.orders.read", "from fringe import judge"),
        ("fringe.judge.tolerance.verdict", "import click"),
        (
            "fringe.orders.read",
            "if True:\n    try:\n        import matplotlib.figure\n"
            "    except ImportError:\n        pass",
        ),
        ("fringe.orders.read", "try:\n    pass\nexcept ImportError:\n    import h5py"),
        ("fringe.synth.render", "from fringe.photo import load"),
        ("fringe.archive.store.write", "from fringe.show.figures.overlay import overlay_figure"),
    ],
)
def test_the_rule_catches(module: str, source: str) -> None:
    """The check finds upward imports however they are written."""
    assert len(faults(source, module)) == 1


@pytest.mark.parametrize("module", [name for name in MODULES if name.startswith("fringe.cli")])
def test_commands_import_only_click_at_the_top(module: str) -> None:
    """A command's file loads the standard library, click, and the light parts of fringe alone."""
    light = ("click", "fringe.cli", "fringe.errors", "fringe.units")
    eager = {
        one.name
        for one in imports_of(module)
        if not one.lazy and one.name.split(".")[0] not in sys.stdlib_module_names
    }
    assert {name for name in eager if not name.startswith(light)} == set()


# Loads the command line, then answers each list of words in a copy of itself that has done
# nothing else: what a new interpreter for each would show, without starting one for each.
RUN_EACH = """
import json, os, sys
from fringe.cli import main
found = []
for words in json.loads(sys.stdin.read()):
    ours, theirs = os.pipe()
    if not os.fork():
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(1, 2)
        try:
            main(words)
            status = 0
        except SystemExit as stop:
            status = stop.code or 0
        with os.fdopen(theirs, "w") as told:
            json.dump([status, sorted(sys.modules)], told)
        os._exit(0)
    os.close(theirs)
    with os.fdopen(ours) as told:
        found.append(json.load(told))
    os.wait()
print(json.dumps(found))
"""


def loaded_by(*calls: Sequence[str]) -> list[tuple[int, set[str]]]:
    """Run the command line with each list of words; return its status and the modules."""
    done = subprocess.run(
        [sys.executable, "-c", RUN_EACH],
        input=json.dumps(calls),
        capture_output=True,
        text=True,
        check=True,
    )
    return [(status, set(names)) for status, names in json.loads(done.stdout)]


def heavy_by(*lines: str) -> dict[str, tuple[int, set[str]]]:
    """Return the status and the heavy libraries of each line of words."""
    found = loaded_by(*(line.split() for line in lines))
    return {
        line: (status, {name.split(".")[0] for name in names} & HEAVY)
        for line, (status, names) in zip(lines, found, strict=True)
    }


def test_help_loads_nothing_heavy() -> None:
    """Help and version come at once: no numeric, picture or archive library is loaded."""
    found = heavy_by("--help", "--version", *(f"{words} --help" for words in commands()))
    assert len(found) > 30
    assert {line: one for line, one in found.items() if one != (0, set())} == {}


def test_a_slip_of_the_pen_loads_nothing_heavy() -> None:
    """A wrong command or option is answered at once, with status 2."""
    slips = ("", "nonsense", "--nonsense", *(f"{words} --nonsense" for words in commands()))
    found = heavy_by(*slips)
    assert {line: one for line, one in found.items() if one != (2, set())} == {}


def test_the_watch_sees_heavy_modules() -> None:
    """The watch on loaded modules would notice one: a command that measures loads numpy."""
    ((status, heavy),) = heavy_by(f"read --lamp sodium {__file__}").values()
    assert status == 2
    assert "numpy" in heavy


def test_a_plain_reading_loads_no_more_than_it_needs(tmp_path: Path) -> None:
    """A clear photograph is read with numpy and Pillow alone of what is slow to import."""
    photo = tmp_path / "clear.jpg"
    form = ("--power", "3.2", "--tilt", "2", "--size", "500", "--seed", "7")
    assert loaded_by(("synth", "--out", str(photo), *form))[0][0] == 0
    ((status, heavy),) = heavy_by(f"read {photo} --lamp sodium --json").values()
    assert status == 0
    assert heavy == {"numpy", "PIL"}


def test_every_command_is_listed() -> None:
    """The group knows each command that the list names, in the list's order."""
    import click

    assert cli.list_commands(click.Context(cli)) == list(COMMANDS)
