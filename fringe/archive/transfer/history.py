"""An archive's files held against its ledger: what was taken away, changed or slipped in."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path

from fringe.archive.store.ledger import (
    INSTRUMENTS,
    LEDGER,
    Ledger,
    Line,
    add_all_files,
    file_digest,
    read_ledger,
    surface_id,
)
from fringe.archive.store.order import number_in_name
from fringe.archive.store.read import session_files
from fringe.errors import BadInput


def ledger_problems(archive: Path, folders: Sequence[Path]) -> list[str]:
    """Say what an archive's ledger tells otherwise than its files; one line each.

    Parameters
    ----------
    archive : Path
    folders : sequence of Path
        Its surfaces.
    """
    try:
        ledger = read_ledger(archive)
    except BadInput as error:
        return [str(error)]
    problems = list(ledger.problems)
    places: dict[str, Path] = {}
    for folder in folders:
        identity = surface_id(folder)
        if identity is None:
            continue
        if identity in places:
            problems.append(f"{folder}: it is the same surface as {places[identity].name}")
        else:
            places[identity] = folder
    lines = ledger.current()
    of_surface: dict[str, list[Line]] = {}
    for line in lines.values():
        of_surface.setdefault(line.surface, []).append(line)
    for identity, known in of_surface.items():
        if not identity:
            problems += _changed(archive / INSTRUMENTS, known, "instruments' record")
        elif identity in places:
            folder = places[identity]
            renamed = _under_other_names(folder, known)
            problems += _changed(folder, known, "file", renamed)
            problems += _slipped_in(folder, known)
        else:
            count = len(known)
            problems.append(
                f"{archive}: surface {known[-1].name!r} is missing, {count} files by the ledger"
            )
    return problems


def _changed(
    root: Path, known: Sequence[Line], what: str, renamed: Collection[str | None] = ()
) -> list[str]:
    problems = []
    for line in known:
        path = root / line.file
        if not path.exists():
            if line.sha256 in renamed:
                continue  # the check of the session says so where it lies now
            problems.append(f"{path}: this {what} is missing; it is in the ledger")
        elif file_digest(path) != line.sha256:
            problems.append(f"{path}: this {what} is not the one that is in the ledger")
    return problems


def _under_other_names(folder: Path, known: Sequence[Line]) -> set[str | None]:
    """Digests of the sessions in a surface's folder that the ledger has not under their names."""
    names = {line.file for line in known}
    return {file_digest(path) for path in session_files(folder) if path.name not in names}


def _slipped_in(folder: Path, known: Sequence[Line]) -> list[str]:
    """Sessions that the ledger lacks although it has later ones."""
    numbers = [number_in_name(Path(line.file)) for line in known]
    last = max((one for one in numbers if one is not None), default=0)
    files = {line.file for line in known}
    return [
        f"{path}: the ledger has later sessions and not this one; it was put there afterwards"
        for path in sorted(folder.iterdir())
        if path.name not in files and 0 < (number_in_name(path) or 0) < last
    ]


def history_of(archive: Path, *, sound: bool) -> Ledger:
    """An archive's ledger, brought up to date first where all else is sound."""
    if sound:
        add_all_files(archive)
    try:
        return read_ledger(archive)
    except BadInput:
        return Ledger()


def lacks(ledger: Ledger, digest: str, archive: Path) -> str | None:
    """Say that a digest's history is no longer contained in a ledger; None if it is."""
    if digest.strip().lower() in {line.chain for line in ledger.lines}:
        return None
    return (
        f"{archive / LEDGER}: the history that {digest} stands for is not contained in it; files "
        "were taken away or changed since, or it is the digest of another archive"
    )
