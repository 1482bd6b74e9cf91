"""The ledger of an archive: one line for each file that was added, each chained to those before.

`ledger.jsonl` is only ever added to. A line is a JSON object: `surface` (the first 16 digits of
the SHA-256 of the surface's first record; absent for instruments), `name`, `file`, `sha256` (of
the file's bytes; of a session, of its content) and `chain`, the SHA-256 of the chain of the line
before, a newline, and the line without its chain (JSON with sorted keys). A line without `file`
says that a surface moved to another archive, `to` says where. So the last chain stands for the
whole history: who keeps it can prove later that nothing of it was changed or taken away.

Lines are added after the file is whole. A writer that is killed in between, or cannot write here,
leaves that to the next one. A line that was cut off counts for nothing and is taken off again.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store import layout
from fringe.archive.store.claim import held
from fringe.archive.store.surface import list_folders, load_surface, record_versions
from fringe.errors import BadInput
from fringe.files import add_lines, ensure_file

LEDGER = "ledger.jsonl"
INSTRUMENTS = "instruments"
START = hashlib.sha256(b"fringe ledger").hexdigest()
_MAX_BYTES = 1 << 28


@dataclass(frozen=True)
class Line:
    """One line of a ledger.

    Attributes
    ----------
    surface : str
        Identity of the surface; empty for an instrument.
    name : str
        Of the surface, for a person.
    file : str
        Name of the file; empty where the surface left.
    sha256 : str
    chain : str
        Stands for this line and all before it.
    to : str
        Archive that the surface moved to, where it left.
    """

    surface: str
    name: str
    file: str
    sha256: str
    chain: str
    to: str = ""

    @property
    def left(self) -> bool:
        """Whether it says that the surface moved to another archive."""
        return not self.file


@dataclass(frozen=True)
class Ledger:
    """What an archive's ledger says.

    Attributes
    ----------
    lines : tuple of Line
    problems : tuple of str
        One line each: lines that do not follow from those before.
    """

    lines: tuple[Line, ...] = ()
    problems: tuple[str, ...] = ()

    @property
    def digest(self) -> str:
        """Stands for the whole history."""
        return self.lines[-1].chain if self.lines else START

    def left(self) -> list[str]:
        """Names of the surfaces that moved to another archive and did not come back."""
        there = {surface for surface, _ in self.current()}
        gone = {line.surface: line.name for line in self.lines if line.left}
        return [name for surface, name in gone.items() if surface not in there]

    def leavings(self) -> list[tuple[Line, tuple[Line, ...]]]:
        """The last line of each surface that left and did not come back, and those before it."""
        there = {surface for surface, _ in self.current()}
        found: dict[str, tuple[Line, tuple[Line, ...]]] = {}
        files: dict[str, dict[str, Line]] = {}
        for line in self.lines:
            if not line.left:
                files.setdefault(line.surface, {})[line.file] = line
            elif line.surface not in there:
                known = files.pop(line.surface, {})
                found[line.surface] = (line, tuple(known.values()))
        return list(found.values())

    def current(self) -> dict[tuple[str, str], Line]:
        """The last line of each file of what has not left, by surface and file."""
        found: dict[tuple[str, str], Line] = {}
        for line in self.lines:
            if line.left:
                found = {key: one for key, one in found.items() if key[0] != line.surface}
            else:
                found[line.surface, line.file] = line
        return found


def read_ledger(archive: Path) -> Ledger:
    """Read an archive's ledger and prove that each line follows from those before.

    Raises
    ------
    BadInput
        If it cannot be read.
    """
    path = archive / LEDGER
    try:
        with open(path, "rb") as file:
            data = file.read(_MAX_BYTES)
    except FileNotFoundError:
        return Ledger()
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
    lines: list[Line] = []
    chain = START
    whole = data[: data.rfind(b"\n") + 1]  # a line that was cut off counts for nothing
    # line feeds alone: a name may hold what else ends a line of text
    for number, text in enumerate(whole.decode("utf-8", "replace").split("\n")[:-1], 1):
        line = _parsed(text)
        if line is None or line.chain != _chain(chain, _values(line)):
            why = "does not follow from the lines before; it or they were altered"
            return Ledger(tuple(lines), (f"{path}: line {number} {why}",))
        lines.append(line)
        chain = line.chain
    return Ledger(tuple(lines))


def surface_id(folder: Path) -> str | None:
    """Identity of a surface by its first record; None for a folder without one."""
    first = record_versions(folder).get(1)
    digest = None if first is None else file_digest(first)
    return None if digest is None else digest[:16]


def file_digest(path: Path) -> str | None:
    """Digest that a ledger keeps of a file; None where it cannot be read or is no whole session."""
    if path.suffix == layout.SUFFIX:
        from fringe.archive.store.read import said_content  # numpy and h5py

        return said_content(path)
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


Known = Collection[tuple[str, str]]
Files = Iterable[Line]


def add_surface_files(folder: Path) -> None:
    """Add what a surface's folder holds and the ledger does not, and instruments as they are now.

    Nothing is added where the ledger cannot be written; the next writer does it then.
    """
    archive = folder.parent

    def files(known: Known) -> Iterator[Line]:
        yield from surface_files(folder, known)
        yield from instrument_files(archive)

    _append(archive, files)


def add_instrument_files(archive: Path) -> None:
    """Add the instruments' records as they are now; nothing where it cannot be."""
    _append(archive, lambda _: instrument_files(archive))


def add_all_files(archive: Path) -> bool:
    """Add all that an archive holds and its ledger does not; False where it cannot be written."""

    def files(known: Known) -> Iterator[Line]:
        for folder in list_folders(archive):
            yield from surface_files(folder, known)
        yield from instrument_files(archive)

    return _append(archive, files)


def add_leaving(archive: Path, surface: str, name: str, to: Path) -> None:
    """Say that a surface moved to another archive; nothing where it cannot be."""
    _append(archive, lambda _: [Line(surface, name, "", "", "", str(to.absolute()))])


def surface_files(folder: Path, known: Known = ()) -> Iterator[Line]:
    """Lines, not chained yet, of what belongs to a surface's record and is not known."""
    identity = surface_id(folder)
    if identity is None:
        return
    try:
        name = load_surface(folder).name
        names = sorted(os.listdir(folder))
    except (OSError, BadInput):
        return
    records = {path.name for path in record_versions(folder).values()}
    for one in names:
        if (one in records or layout.SESSION_FILE.match(one)) and (identity, one) not in known:
            digest = file_digest(folder / one)
            if digest is not None:
                yield Line(identity, name, one, digest, "")


def instrument_files(archive: Path) -> Iterator[Line]:
    """The same of the records of instruments; their files are named with their folders."""
    root = archive / INSTRUMENTS
    try:
        paths = sorted(p for p in root.rglob("[!.]*") if p.is_file() and _is_record(p))
    except OSError:
        return
    for path in paths:
        digest = file_digest(path)
        if digest is not None:
            yield Line("", path.stem, path.relative_to(root).as_posix(), digest, "")


def _is_record(path: Path) -> bool:
    """Whether a file among the instruments is a record, or a map of a plate."""
    return path.suffix == ".toml" or path.parent.name.endswith("-maps")


def _append(archive: Path, files: Callable[[Known], Files]) -> bool:
    """Add lines for what is new or changed, under the ledger's lock."""
    path = archive / LEDGER
    with suppress(OSError, BadInput):
        ensure_file(path)
        with held(path):
            ledger = read_ledger(archive)
            if ledger.problems:
                return False  # what was altered is not built upon
            new = _new_lines(ledger, files)
            if new:
                add_lines(path, new)
        return True
    return False


def _new_lines(ledger: Ledger, files: Callable[[Known], Files]) -> list[str]:
    known, chain = ledger.current(), ledger.digest
    lines = []
    for line in files(known):
        before = known.get((line.surface, line.file))
        if before is not None and (before.sha256 == line.sha256 or line.surface):
            continue  # of a surface nothing ever changes: the check tells what did
        values = _values(line)
        chain = _chain(chain, values)
        lines.append(json.dumps(values | {"chain": chain}, ensure_ascii=False) + "\n")
    return lines


def _values(line: Line) -> dict[str, str]:
    names = ("surface", "name", "file", "sha256", "to")
    values = {name: getattr(line, name) for name in names}
    return {key: value for key, value in values.items() if value}


def _chain(before: str, values: dict[str, str]) -> str:
    text = json.dumps(values, ensure_ascii=False, sort_keys=True)
    return hashlib.sha256(f"{before}\n{text}".encode()).hexdigest()


def _parsed(text: str) -> Line | None:
    try:
        values = json.loads(text)
        fields = {name: values.get(name, "") for name in Line.__dataclass_fields__}
    except (ValueError, RecursionError, AttributeError):
        return None
    if not all(isinstance(value, str) for value in fields.values()):
        return None
    return Line(**fields)
