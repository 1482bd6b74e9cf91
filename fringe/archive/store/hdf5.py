"""Read numbers and text from an HDF5 file that may be damaged or malicious.

Only hard links, numeric variables of bounded size and HDF5's own three filters are followed;
everything else is refused before it is read.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from fringe.archive.store.layout import MAX_ARRAY_BYTES, MAX_TEXT_BYTES
from fringe.errors import BadInput

BLOCK_BYTES = 1 << 24  # read at once of what may be large
MAX_CHUNK_BYTES = 1 << 26  # unpacked at once
_FILTERS = {h5py.h5z.FILTER_DEFLATE, h5py.h5z.FILTER_SHUFFLE, h5py.h5z.FILTER_FLETCHER32}


@contextmanager
def opened(path: Path) -> Iterator[h5py.File]:
    """Open a file for reading; whatever HDF5 stumbles over becomes one line naming the file.

    Raises
    ------
    BadInput
        If the file cannot be opened, or anything in it cannot be read.
    """
    try:
        # locking would make a reader wait, or fail on file systems without it; nothing that
        # has its final name is ever written to
        with h5py.File(path, "r", locking=False) as file:
            yield file
    except BadInput as error:
        if str(path) in str(error):
            raise
        raise BadInput(f"{path}: not a session of ours: {error}") from error
    except FileNotFoundError as error:
        raise BadInput(f"{path}: there is no such session") from error
    except (OSError, RuntimeError, KeyError, ValueError, TypeError, MemoryError) as error:
        raise BadInput(f"{path}: the session is damaged: {_first_line(error)}") from error


def attribute(item: Any, name: str) -> Any:
    """Read one attribute: text, a number array, or None if there is none.

    Returns
    -------
    str, ndarray or None
    """
    attributes = item.attrs
    if name not in attributes:
        return None
    found = attributes.get_id(name)
    kind, shape = found.dtype, found.shape
    text = h5py.check_string_dtype(kind)
    size = math.prod(shape)
    if text is not None and size == 1:
        if (text.length or 0) > MAX_TEXT_BYTES:
            raise _refused(item, f"attribute {name} is too long")
        value = _plain(found, kind) if text.length else np.asarray(attributes[name])
        value = value.reshape(-1)[0]
        data = value if isinstance(value, bytes) else str(value).encode()
        if len(data) > MAX_TEXT_BYTES:
            raise _refused(item, f"attribute {name} is too long")
        return data.rstrip(b"\0").decode()
    if kind.kind not in "fiu" or size * kind.itemsize > MAX_TEXT_BYTES:
        raise _refused(item, f"attribute {name} is neither a number nor text")
    return np.asarray(attributes[name]) if kind.subdtype else _plain(found, kind)


def _plain(found: Any, kind: np.dtype[Any]) -> NDArray[Any]:
    """Values of an attribute of fixed size, without the detour of looking it up again."""
    values = np.empty(found.shape, kind)
    found.read(values)
    return values


def text(item: Any, name: str) -> str | None:
    """Read an attribute that must be text, or None."""
    value = attribute(item, name)
    if value is not None and not isinstance(value, str):
        raise _refused(item, f"attribute {name} must be text")
    return value


def number(item: Any, name: str) -> float | None:
    """Read an attribute that must be one number, or None."""
    value = attribute(item, name)
    if value is None:
        return None
    if isinstance(value, str) or value.size != 1:
        raise _refused(item, f"attribute {name} is not one number")
    return float(value.reshape(-1)[0])


def whole(item: Any, name: str) -> int | None:
    """Read an attribute that must be one whole number, or None."""
    value = attribute(item, name)
    if value is None:
        return None
    if isinstance(value, str) or value.size != 1 or value.dtype.kind not in "iu":
        raise _refused(item, f"attribute {name} is not one whole number")
    return int(value.reshape(-1)[0])


def member(group: Any, name: str) -> Any:
    """Return a group's member, or None; never through a link to elsewhere."""
    link = group.get(name, getlink=True)
    if link is None:
        return None
    if not isinstance(link, h5py.HardLink):
        raise _refused(group, f"{name} is a link, which no session has")
    return group[name]


def variable(
    group: Any, name: str, dimensions: int, max_bytes: int = MAX_ARRAY_BYTES
) -> NDArray[Any] | None:
    """Read a group's variable, or None if it has none.

    Parameters
    ----------
    group : h5py.Group
        Where it is.
    name : str
        What it is called.
    dimensions : int
        How many dimensions it must have.
    max_bytes : int
        More is refused before it is read.
    """
    item = member(group, name)
    if item is None:
        return None
    if not isinstance(item, h5py.Dataset) or len(item.shape or ()) != dimensions:
        raise _refused(group, f"{name} is not a variable of {dimensions} dimensions")
    return numbers(item, max_bytes)


def numbers(item: Any, max_bytes: int = MAX_ARRAY_BYTES) -> NDArray[Any]:
    """Read a whole variable of plain numbers.

    Raises
    ------
    BadInput
        If it is anything else, larger than `max_bytes`, kept outside the file, or packed by
        a filter that is not HDF5's own.
    """
    check_plain(item, max_bytes)
    return np.asarray(item[()])


def blocks(item: Any, max_bytes: int = MAX_ARRAY_BYTES) -> Iterator[NDArray[Any]]:
    """Read a variable of plain numbers a part at a time, along its first axis.

    Raises
    ------
    BadInput
        As :func:`numbers`.
    """
    check_plain(item, max_bytes)
    if not item.shape or item.size == 0:
        yield np.asarray(item[()])
        return
    row = item.size // item.shape[0] * item.dtype.itemsize
    step = max(1, BLOCK_BYTES // row)
    if item.chunks is not None:  # a packed chunk is unpacked once
        step = max(1, step // item.chunks[0]) * item.chunks[0]
    for start in range(0, item.shape[0], step):
        yield np.asarray(item[start : start + step])


def declared_bytes(item: Any) -> int:
    """How large a variable says that it is, before anything of it is read."""
    return 0 if item.size is None else int(item.size) * int(item.dtype.itemsize)


def check_plain(item: Any, max_bytes: int) -> None:
    """Refuse what is no plain variable, or too large, before it is read."""
    if not isinstance(item, h5py.Dataset) or item.dtype.kind not in "fiu" or item.dtype.subdtype:
        raise _refused(item, "it is not a variable of numbers")
    if item.size is None or declared_bytes(item) > max_bytes:
        raise _refused(item, "it is larger than any session's")
    chunk = math.prod(item.chunks or (0,)) * item.dtype.itemsize
    if chunk > MAX_CHUNK_BYTES:
        raise _refused(item, "it is packed in parts larger than any session's")
    if item.is_virtual or item.external:
        raise _refused(item, "its values are kept in another file")
    plan = item.id.get_create_plist()
    if any(plan.get_filter(i)[0] not in _FILTERS for i in range(plan.get_nfilters())):
        raise _refused(item, "it is packed by a filter that no session uses")


def _refused(item: Any, what: str) -> BadInput:
    return BadInput(f"{item.file.filename}: not a session of ours: {item.name}: {what}")


def _first_line(error: BaseException) -> str:
    words = " ".join(str(error).split()) or type(error).__name__
    return words if len(words) <= 200 else words[:200] + " ..."
