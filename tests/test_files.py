"""Files are written whole or not at all, and by one module alone."""

from __future__ import annotations

import ast
import os
import stat
from pathlib import Path

import pytest

from fringe.errors import BadInput
from fringe.files import (
    add_lines,
    check_file,
    check_folder,
    check_new,
    drafted,
    ensure_file,
    write_new,
    write_whole,
)

PACKAGE = Path(__file__).parents[1] / "fringe"
# Calls that write a file in some way of their own; `rename` and `replace` of a Path are left
# out, since text has a method of that name.
WRITERS = {
    *("write_bytes", "write_text", "savefig", "mkstemp", "mkdtemp", "NamedTemporaryFile"),
    *("copyfile", "copy2", "copytree", "fdopen", "tofile", "savetxt", "touch"),
}  # fmt: skip


def own_writers(source: str) -> list[str]:
    """List the calls in a source text that write a file past the one writer."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else ""
        name = node.func.id if isinstance(node.func, ast.Name) else name
        mode = [one.value for one in node.args[1:2] if isinstance(one, ast.Constant)]
        mode += [
            one.value.value
            for one in node.keywords
            if one.arg == "mode" and isinstance(one.value, ast.Constant)
        ]
        opens = name == "open" and any(set("wax+") & set(str(one)) for one in mode)
        memory = name == "savefig" and any(
            isinstance(one, ast.Name) and one.id == "buffer" for one in node.args
        )
        if (name in WRITERS or opens) and not memory:
            found.append(f"line {node.lineno}: {name}")
    return found


def test_one_writer() -> None:
    """No other module opens a file for writing."""
    others = {
        str(path.relative_to(PACKAGE)): own_writers(path.read_text(encoding="utf-8"))
        for path in sorted(PACKAGE.rglob("*.py"))
        if path.name != "files.py" or path.parent != PACKAGE
    }
    assert {name: found for name, found in others.items() if found} == {}


@pytest.mark.parametrize(
    "source",
    [
        "Path('a').write_text('')",
        "open('a', 'w')",
        "open('a', mode='xb')",
        "figure.savefig('a.png')",
        "open(path, 'rb+')",
    ],
)
def test_the_search_finds(source: str) -> None:
    """The search for other writers finds what writes, and passes what reads."""
    assert len(own_writers(source)) == 1
    assert own_writers("open('a'); open('a', 'rb'); figure.savefig(buffer)") == []


def test_what_was_there_is_replaced_or_kept(tmp_path, monkeypatch):
    """A file is replaced whole; where that fails it is as it was, and nothing lies beside it."""
    path = tmp_path / "a.txt"
    assert write_whole(path, b"one", memoryview(b" two")) == path
    assert path.read_bytes() == b"one two"

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("fringe.files.os.fsync", full)
    with pytest.raises(BadInput, match=r"a\.txt: cannot be written: the disk is full$"):
        write_whole(path, b"three")
    assert path.read_bytes() == b"one two"
    assert list(tmp_path.iterdir()) == [path]


def test_an_interrupt_leaves_nothing(tmp_path, monkeypatch):
    """Ctrl-C while a file is written leaves neither file nor draft."""

    def stop(_):
        raise KeyboardInterrupt

    monkeypatch.setattr("fringe.files.os.fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "a.txt", b"one")
    assert list(tmp_path.iterdir()) == []


def test_a_link_stays_one(tmp_path):
    """What a link points at is replaced, and the link is left as it is."""
    (tmp_path / "far").mkdir()
    link = tmp_path / "a.txt"
    link.symlink_to("far/b.txt")
    write_whole(link, b"one")
    assert link.is_symlink()
    assert (tmp_path / "far" / "b.txt").read_bytes() == b"one"


def test_rights_are_those_of_a_new_file(tmp_path):
    """A file that is written has the rights that the system gives to any new file."""
    write_whole(tmp_path / "a", b"")
    (tmp_path / "b").touch()
    mode = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in "ab"]
    assert mode[0] == mode[1]


def test_new_means_new(tmp_path):
    """A file that must be new is not written over one that is there."""
    assert write_new(tmp_path / "a", b"one")
    assert not write_new(tmp_path / "a", b"two")
    assert (tmp_path / "a").read_bytes() == b"one"
    assert list(tmp_path.iterdir()) == [tmp_path / "a"]


def test_checks_leave_nothing(tmp_path):
    """To ask whether something can be written changes nothing."""
    path = tmp_path / "a.png"
    assert check_file(path, endings=[".png"]) == path
    assert check_new(path) == path
    assert check_folder(tmp_path) == tmp_path
    assert list(tmp_path.iterdir()) == []
    path.write_bytes(b"kept")
    check_file(path)
    assert path.read_bytes() == b"kept"
    with pytest.raises(BadInput, match=r"^--out: .*a\.png: is there already"):
        check_new(path, option="--out")


def test_a_device_is_not_replaced():
    """A device is no file to write: it would be taken away and a file put in its place."""
    with pytest.raises(BadInput, match="is no plain file"):
        check_file(Path(os.devnull))


def test_a_draft_is_taken_away(tmp_path):
    """Of a draft nothing is left, be it a file, a folder, or given its name meanwhile."""
    with drafted(tmp_path / "a") as draft:
        draft.mkdir()
        (draft / "in").touch()
    with drafted(tmp_path / "a") as draft:
        draft.touch()
    assert list(tmp_path.iterdir()) == []
    with drafted(tmp_path / "a") as draft:
        draft.write_bytes(b"x")
        draft.rename(tmp_path / "a")
    assert list(tmp_path.iterdir()) == [tmp_path / "a"]


def test_lines_are_added_whole(tmp_path):
    """Lines go behind those that are there; a last one that was cut off is taken away first."""
    path = tmp_path / "a"
    ensure_file(path)
    add_lines(path, ["one\n", "zwölf\n"])
    ensure_file(path)
    with open(path, "ab") as file:
        file.write(b"cut o")
    add_lines(path, ["three\n"])
    assert path.read_text("utf-8") == "one\nzwölf\nthree\n"
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(OSError, match="No such file"):
        add_lines(tmp_path / "b", ["one\n"])
