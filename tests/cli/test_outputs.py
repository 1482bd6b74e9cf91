"""Every option and argument that names a file or folder to write, of every command."""

from __future__ import annotations

import os
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import click
import pytest

from calling import call, refused
from commandline import commands
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Plate, Surface, add_surface
from fringe.archive.store.write import log_visit
from fringe.cli.params import Written
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import hours, power_reading
from shared_files import copied_once

# Paths that a command reads, or that name an archive, which is made and filled file by file.
READ = {
    ("bench", "archive"),
    ("check", "archive"),
    ("check", "by"),
    ("check", "elsewhere"),
    ("check", "key"),
    ("check", "signed"),
    ("import", "source"),
    ("instrument add camera", "archive"),
    ("instrument add lamp", "archive"),
    ("instrument add plate", "archive"),
    ("instrument add spherometer", "archive"),
    ("instrument list", "archive"),
    ("instrument show", "archive"),
    ("log", "photos"),
    ("log", "sense_after"),
    ("pair", "system"),
    ("plate log", "photos"),
    ("read", "archive"),
    ("read", "photos"),
    ("report", "key"),
    ("report", "system"),
    ("sag", "archive"),
    ("sense", "after"),
    ("sense", "before"),
    ("settle", "archive"),
    ("settle", "photos"),
    ("surface add", "archive"),
    ("surface list", "archive"),
    ("surface move", "archive"),
    ("surfaces", "archive"),
    ("tolerance", "system"),
    ("turning", "photos"),
    ("watch", "archive"),
    ("watch", "folder"),
}
EDGE = ("--edge", "99.5,99.5,84")  # of photographs of 200 pixels; to find it takes longer
# How each command is called that writes, where all is well; `@` is what it writes.
CALLS = {
    "budget --picture": ("shop/convex 1", "--trials", "0", "--picture", "@.png"),
    "demo --out": ("--out", "@"),
    "demo --render": ("--render", "@"),
    "export OUT": ("shop/convex 1", "@.csv"),
    "pair --picture": ("shop/convex 1", "shop/concave 1", "--picture", "@.png"),
    "plan --picture": ("shop/convex 1", "--picture", "@.png"),
    "progress --picture": ("shop/convex 1", "--picture", "@.png"),
    "read --picture": ("0.png", "--lamp", "sodium", *EDGE, "--picture", "@.png"),
    "report --out": ("shop/convex 1", "--out", "@.html"),
    "settle --picture": (
        *("0.png", "1.png", "2.png", "--lamp", "sodium", "--sense", "centre"),
        *("--times", "0,20,40", *EDGE, "--picture", "@.png"),
    ),
    "turning --picture": (
        *("0.png", "1.png", "--lamp", "sodium", "--sense", "centre"),
        *("--turned", "0deg", "--turned", "90deg", *EDGE, "--picture", "@.png"),
    ),
    "synth --out": ("--size", "200", "--power", "3", "--out", "@.jpg"),
}  # fmt: skip


@dataclass(frozen=True)
class Output:
    """One option or argument that names what is written."""

    command: str
    param: click.Parameter

    @property
    def typed(self) -> str:
        """What is typed for it; an argument by its name in capitals."""
        name = self.param.opts[0]
        return name if isinstance(self.param, click.Option) else name.upper()

    @property
    def type(self) -> Written:
        """Type of the parameter."""
        assert isinstance(self.param.type, Written)
        return self.param.type

    @property
    def ending(self) -> str:
        """An ending that its name may have."""
        return ".jpg" if self.command == "synth" else (*self.type.endings, "")[0]

    def words(self, path: str | Path) -> tuple[str, ...]:
        """Words that name nothing but the path, so that only it can be found wrong."""
        if isinstance(self.param, click.Option):
            return (*self.command.split(), self.typed, str(path))
        return (*self.command.split(), "nowhere", str(path))


def outputs() -> dict[str, Output]:
    """Return what every command writes, by `command --option`."""
    found = (
        Output(name, param)
        for name, command in commands().items()
        for param in command.params
        if isinstance(param.type, Written)
    )
    return {f"{one.command} {one.typed}": one for one in found}


OUTPUTS = outputs()


def test_every_path_is_known() -> None:
    """Each path that a command takes is either checked as one to write, or listed as read."""
    paths = {
        (name, param.name)
        for name, command in commands().items()
        for param in command.params
        if isinstance(param.type, click.Path) and not isinstance(param.type, Written)
    }
    assert paths == READ
    named = {
        f"{name} {option}"
        for name, command in commands().items()
        for param in command.params
        for option in param.opts
        if option in ("--picture", "--out", "--output")
    }
    assert named - set(OUTPUTS) == set()
    assert set(CALLS) == set(OUTPUTS)


@contextmanager
def no_room() -> Iterator[None]:
    """Let no file grow, as on a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def tree(folder: Path) -> dict[str, bytes | None]:
    """All that is in a folder, but for the index of an archive, which may be made at any time."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
        if ".index" not in path.parts
    }


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("fault", ["folder missing", "forbidden", "too long", "full disk"])
@pytest.mark.parametrize("name", OUTPUTS)
def test_no_place_for_it(name, fault, here, capsys):
    """Where nothing can be written one line says so before anything else, naming the option."""
    one = OUTPUTS[name]
    if fault == "forbidden" and not Path("/sys").is_dir():
        pytest.skip("no folder here that forbids writing even to the superuser")
    path, says = {
        "folder missing": ("gone/out", "there is no folder"),
        "forbidden": ("/sys/out", "cannot be written: writing is not permitted"),
        "too long": ("o" * 300, "cannot be written: the name is too long"),
        "full disk": ("out", "cannot be written: the file would pass the size limit"),
    }[fault]
    path += one.ending
    if fault == "full disk":
        with no_room():
            line = refused(capsys, *one.words(path))
    else:
        line = refused(capsys, *one.words(path))
    start = f"{one.typed}: {path}" if isinstance(one.param, click.Option) else path
    assert line.startswith(f"fringe: {start}: {says}")
    assert tree(here) == {}


@pytest.mark.parametrize("name", OUTPUTS)
def test_the_name_is_taken(name, here, capsys):
    """A folder where a file is to be, a pipe, or a file where a folder is to be, is refused."""
    one = OUTPUTS[name]
    taken = Path("taken" + one.ending)
    if one.type.kind == "folder":
        taken.touch()
        says = ["is there already and is not a folder"]
    else:
        taken.mkdir()
        says = ["is there already"] if one.type.kind == "new" else ["is a folder"]
    pipe = Path("pipe" + one.ending)
    os.mkfifo(pipe)
    kinds = {"folder": "is not a folder", "new": "is there already"}
    before = tree(here)
    assert says[0] in refused(capsys, *one.words(taken))
    assert kinds.get(one.type.kind, "is no plain file") in refused(capsys, *one.words(pipe))
    assert tree(here) == before


@pytest.mark.parametrize("name", [name for name, one in OUTPUTS.items() if one.ending])
def test_the_ending_must_fit(name, here, capsys):
    """A name whose ending says another kind of file is refused, and nothing is written."""
    one = OUTPUTS[name]
    line = refused(capsys, *one.words("out.xyz"))
    assert line.startswith(f"fringe: {one.typed}: out.xyz: the name must end in .")
    assert one.ending in line
    assert tree(here) == {}


def two_surfaces(folder):
    """An archive `shop` of two surfaces with a visit each."""
    tolerance = Tolerance(2.0, wavelength_nm=589.29)
    for hour, form in enumerate(("convex", "concave")):
        plate = Plate(f"P{hour}", 3048.0, 0.2)
        surface = add_surface(
            folder / "shop",
            Surface(f"{form} 1", form, 3048.0, 150.0, plate=plate, tolerance=tolerance),  # type: ignore[arg-type]
        )
        reading = power_reading(0.7, 0.1, "centre", 589.29)
        work = Work("polish", 30.0, "tool")
        log_visit(surface, Visit(when=hours(hour), readings=(reading,), work=work))


@pytest.fixture
def shop(here, tmp_path_factory):
    """Two surfaces in an archive `shop`."""
    copied_once(tmp_path_factory, here, two_surfaces)
    return here


@pytest.mark.parametrize("name", CALLS)
def test_the_disk_fills_up_meanwhile(name, shop, capsys, monkeypatch):
    """What fails only when the result is written is one line too; what was there stays whole."""
    one = OUTPUTS[name]
    words = [word.replace("@", "result") for word in CALLS[name]]
    path = next(Path(word) for word in words if word.startswith("result"))
    for number in range(sum(f"{k}.png" in words for k in range(3))):
        form = ("--power", 6 - 0.4 * number, "--tilt", 1, "--seed", 5, "--size", 200)
        assert call(capsys, "synth", "--out", f"{number}.png", *form).status == 0
    if one.type.kind == "file":
        path.write_bytes(b"what was there")
        words += ["--force"] if one.command == "synth" else []
    before = tree(shop)

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("fringe.files.os.fsync", full)
    failed = call(capsys, *one.command.split(), *words)
    assert failed.status == 2
    assert failed.err.startswith("fringe: ")
    assert failed.err.endswith(("the disk is full\n", "the disk is full; nothing was kept\n"))
    assert failed.err.count("\n") == 1
    left = {name: content for name, content in tree(shop).items() if content is not None}
    assert left == {name: content for name, content in before.items() if content is not None}
