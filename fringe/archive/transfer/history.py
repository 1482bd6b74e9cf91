"""An archive's files held against its ledger: what was taken away, changed or slipped in."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
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
from fringe.archive.store.moves import interrupted_moves
from fringe.archive.store.order import number_in_name
from fringe.archive.store.read import session_files
from fringe.archive.store.surface import list_folders
from fringe.errors import BadInput

# Digest of a file as it is now; of one that is not proven it is read.
DigestOf = Callable[[Path], str | None]


def ledger_problems(
    archive: Path,
    folders: Sequence[Path],
    digest_of: DigestOf = file_digest,
    elsewhere: Sequence[Path] = (),
) -> list[str]:
    """Say what an archive's ledger tells otherwise than its files; one line each.

    Parameters
    ----------
    archive : Path
    folders : sequence of Path
        Its surfaces.
    digest_of : callable
        Gives the digest of a file.
    elsewhere : sequence of Path
        Archives that its surfaces may have moved to, besides those that the ledger names.
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
            root = archive / INSTRUMENTS
            problems += _changed(root, known, "instruments' record", digest_of)
        elif identity in places:
            folder = places[identity]
            renamed = _under_other_names(folder, known, digest_of)
            problems += _changed(folder, known, "file", digest_of, renamed)
            problems += _slipped_in(folder, known)
        else:
            count = len(known)
            problems.append(
                f"{archive}: surface {known[-1].name!r} is missing, {count} files by the ledger"
            )
    # one on its way, or back from a move that was cut off, is there all the same
    here = {*places, *map(surface_id, interrupted_moves(archive))}
    left = [one for one in ledger.leavings() if one[0].surface not in here]
    return [*problems, *_unconfirmed(archive, left, elsewhere)]


def _unconfirmed(
    archive: Path, left: Sequence[tuple[Line, Sequence[Line]]], elsewhere: Sequence[Path]
) -> Iterator[str]:
    """Surfaces that are said to have moved away, and that no other archive tells of.

    Whoever takes a surface's folder away could add such a line himself.
    """
    ledgers: dict[Path, set[tuple[str, str, str]]] = {}
    for leaving, files in left:
        wanted = {(line.surface, line.file, line.sha256) for line in files}
        places = [*([Path(leaving.to)] if leaving.to else []), *elsewhere]
        for place in places:
            if place not in ledgers:
                ledgers[place] = _told_by(place)
        known = any(wanted <= ledgers[place] for place in places)
        if not known and not any(_is_there(place, leaving.surface, wanted) for place in places):
            where = f"to {leaving.to}" if leaving.to else "away"
            yield (
                f"{archive}: surface {leaving.name!r} is said to have moved {where}, but no "
                "archive there tells of all its files; if that archive lies elsewhere now, say so "
                "with --moved-to"
            )


def _is_there(archive: Path, surface: str, wanted: set[tuple[str, str, str]]) -> bool:
    """Whether an archive has a surface with all of these files, though its ledger lacks them."""
    try:
        every = (*list_folders(archive), *interrupted_moves(archive))
        folders = [one for one in every if surface_id(one) == surface]
    except (BadInput, OSError):
        return False
    return any(
        all(file_digest(folder / name) == sha256 for _, name, sha256 in wanted)
        for folder in folders
    )


def _told_by(archive: Path) -> set[tuple[str, str, str]]:
    """All that an archive's ledger tells of; nothing where it has none that holds."""
    try:
        ledger = read_ledger(archive)
    except BadInput:
        return set()
    return {(line.surface, line.file, line.sha256) for line in ledger.lines}


def _changed(
    root: Path,
    known: Sequence[Line],
    what: str,
    digest_of: DigestOf,
    renamed: Collection[str | None] = (),
) -> list[str]:
    problems = []
    for line in known:
        path = root / line.file
        if not path.exists():
            if line.sha256 in renamed:
                continue  # the check of the session says so where it lies now
            problems.append(f"{path}: this {what} is missing; it is in the ledger")
        elif digest_of(path) != line.sha256:
            problems.append(f"{path}: this {what} is not the one that is in the ledger")
    return problems


def _under_other_names(folder: Path, known: Sequence[Line], digest_of: DigestOf) -> set[str | None]:
    """Digests of the sessions in a surface's folder that the ledger has not under their names."""
    names = {line.file for line in known}
    return {digest_of(path) for path in session_files(folder) if path.name not in names}


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
