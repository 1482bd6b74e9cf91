"""Two digests that prove a session unchanged: of its bytes and of its content.

The definitions stand in :mod:`fringe.archive` under Digests.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput

if TYPE_CHECKING:
    import h5py

SEAL_BYTES = 128
CONTENT_ATTRIBUTE = "content_sha256"
_SEAL_START = b"\n# fringe: SHA-256 of all bytes before this line: "
_NOT_CONTENT = {
    CONTENT_ATTRIBUTE,
    "_NCProperties",
    "_Netcdf4Dimid",
    "_Netcdf4Coordinates",
    "CLASS",
    "NAME",
    "DIMENSION_LIST",
    "REFERENCE_LIST",
}
_BARE_DIMENSION = b"This is a netCDF dimension but not a netCDF variable"
_MAX_DEPTH, _MAX_OBJECTS = 8, 10_000


def seal(data: bytes | memoryview) -> bytes:
    """Return the line of 128 bytes that closes a session file."""
    digest = hashlib.sha256(data).hexdigest().encode()
    return (_SEAL_START + digest).ljust(SEAL_BYTES - 1) + b"\n"


def seal_problem(path: Path) -> str | None:
    """Say what is wrong with a file's bytes; None if they are as they were written.

    Nothing of the file is interpreted, so a damaged file can do no harm here.

    Raises
    ------
    BadInput
        If the file cannot be read.
    """
    try:
        with open(path, "rb") as file:
            size = os.fstat(file.fileno()).st_size
            if size <= SEAL_BYTES:
                return "the file is cut short"
            digest = _digest_of(file, size - SEAL_BYTES)
            end = file.read(SEAL_BYTES)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
    if end == (_SEAL_START + digest).ljust(SEAL_BYTES - 1) + b"\n":
        return None
    if not end.startswith(_SEAL_START):
        return "the file is cut short, or another program wrote it: it does not end in a digest"
    return "the file was altered after it was written: its digest does not fit its bytes"


def is_sealed(path: Path) -> bool:
    """Whether a file ends as a whole session does; quick, and proves no more than that.

    Raises
    ------
    BadInput
        If this account may not read the file.
    """
    try:
        with open(path, "rb") as file:
            file.seek(-SEAL_BYTES, os.SEEK_END)
            end = file.read(SEAL_BYTES)
    except PermissionError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
    except OSError:
        return False
    return end.startswith(_SEAL_START) and end.endswith(b"\n")


def content_digest(file: h5py.File) -> str:
    """Digest of all groups, variables and attributes, however they are stored.

    Parameters
    ----------
    file : h5py.File
        An open session.

    Raises
    ------
    BadInput
        If the file holds anything but plain groups, numbers and text.
    """
    sha = hashlib.sha256()
    for path, item in objects(file):
        sha.update(f"{path}\n".encode())
        for name in sorted(set(item.attrs) - _NOT_CONTENT):
            kind, shape, data = _attribute_bytes(item, name)
            sha.update(f"@{name} {kind} {shape}\n".encode() + data)
        if hasattr(item, "shape"):
            kind, shape, parts = _variable_bytes(item)
            sha.update(f"= {kind} {shape}\n".encode())
            for part in parts:
                sha.update(part)
    return sha.hexdigest()


def _digest_of(file: Any, count: int) -> bytes:
    sha = hashlib.sha256()
    while count > 0:
        block = file.read(min(count, 1 << 20))
        if not block:
            break
        sha.update(block)
        count -= len(block)
    return sha.hexdigest().encode()


def objects(file: h5py.File) -> list[tuple[str, Any]]:
    """All groups and variables with their paths, root first, then sorted."""
    found = dict(islice(_below(file, "/", 0), _MAX_OBJECTS + 1))
    if len(found) > _MAX_OBJECTS:
        raise BadInput(f"{file.filename}: holds more than any session")
    return [("/", file), *sorted(found.items())]


def _below(group: Any, path: str, depth: int) -> Iterator[tuple[str, Any]]:
    import h5py

    from fringe.archive.store.hdf5 import open_member

    if depth > _MAX_DEPTH:
        raise BadInput(f"{group.file.filename}: groups lie too deep for a session")
    for name in group:
        where = f"{path.rstrip('/')}/{name}"
        # through HDF5's own calls: h5py's look each name up four times over
        if group.id.links.get_info(name.encode()).type != h5py.h5l.TYPE_HARD:
            raise BadInput(f"{group.file.filename}: {where} is a link, which no session has")
        item = open_member(group, name)
        if isinstance(item, h5py.Group):
            yield where, item
            yield from _below(item, where, depth + 1)
        elif not is_bare_dimension(item):
            yield where, item


def is_bare_dimension(item: Any) -> bool:
    """Whether a variable is only a dimension without places, which netCDF-4 keeps as one."""
    if "NAME" not in item.attrs:
        return False
    name = item.attrs["NAME"]
    return (name if isinstance(name, bytes) else str(name).encode()).startswith(_BARE_DIMENSION)


def _attribute_bytes(item: Any, name: str) -> tuple[str, str, bytes]:
    from fringe.archive.store.hdf5 import attribute

    value = attribute(item, name)
    if isinstance(value, str):
        data = value.encode()
        return "text", str(len(data)), data
    array = _little_endian(value)
    shape = "1" if array.size == 1 else ",".join(map(str, array.shape))
    return array.dtype.str, shape, array.tobytes()


def _variable_bytes(item: Any) -> tuple[str, str, Iterator[Any]]:
    """Type, shape, and the bytes of a variable, a bounded part at a time."""
    from fringe.archive.store.hdf5 import blocks
    from fringe.archive.store.layout import MAX_PHOTOGRAPH_BYTES

    parts = map(_little_endian, blocks(item, MAX_PHOTOGRAPH_BYTES))  # refuses what is no variable
    kind = item.dtype.newbyteorder("<").str
    shape = ",".join(map(str, item.shape))
    return kind, shape, (one.reshape(-1).view("u1").data for one in parts)


def _little_endian(value: Any) -> Any:
    import numpy as np

    array = np.ascontiguousarray(value)
    return array.astype(array.dtype.newbyteorder("<"), copy=False)
