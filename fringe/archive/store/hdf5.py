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
from h5py import h5a, h5d, h5i, h5l, h5o, h5t
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
    # through HDF5's own calls: h5py's properties look each attribute up four times over
    place, key = item.id, name.encode()
    if not h5a.exists(place, key):
        return None
    found = h5a.open(place, key)
    kind, shape = found.get_type(), found.shape
    if isinstance(kind, h5t.TypeStringID) and math.prod(shape) == 1:
        data = _text_bytes(item, name, found, kind)
        if len(data) > MAX_TEXT_BYTES:
            raise _refused(item, f"attribute {name} is too long")
        return data.rstrip(b"\0").decode()
    dtype = found.dtype
    if dtype.kind not in "fiu" or math.prod(shape) * dtype.itemsize > MAX_TEXT_BYTES:
        raise _refused(item, f"attribute {name} is neither a number nor text")
    values = np.empty(shape, dtype)
    found.read(values)
    return values


def _text_bytes(item: Any, name: str, found: Any, kind: Any) -> bytes:
    """Bytes of an attribute that is one text."""
    if kind.is_variable_str():
        value = np.asarray(item.attrs[name]).reshape(-1)[0]
        return value if isinstance(value, bytes) else str(value).encode()
    if kind.get_size() > MAX_TEXT_BYTES:
        raise _refused(item, f"attribute {name} is too long")
    values = np.empty(found.shape, f"S{kind.get_size()}")
    found.read(values, mtype=kind)
    return bytes(values.reshape(-1)[0])


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
    key = name.encode()
    if not group.id.links.exists(key):
        return None
    if group.id.links.get_info(key).type != h5l.TYPE_HARD:
        raise _refused(group, f"{name} is a link, which no session has")
    return open_member(group, name)


def open_member(group: Any, name: str) -> Any:
    """Open a group's member by a name that is no link to elsewhere."""
    found = h5o.open(group.id, name.encode())
    made = {h5i.GROUP: h5py.Group, h5i.DATASET: h5py.Dataset}.get(h5i.get_type(found))
    return group[name] if made is None else made(found)


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
    return _blocks(item)


def _blocks(item: Any) -> Iterator[NDArray[Any]]:
    shape = item.shape
    row = math.prod(shape[1:]) * item.dtype.itemsize
    if not shape or shape[0] * row <= BLOCK_BYTES:
        yield np.asarray(item[()])
        return
    step = max(1, BLOCK_BYTES // row)
    if item.chunks is not None:  # a packed chunk is unpacked once
        step = max(1, step // item.chunks[0]) * item.chunks[0]
    for start in range(0, shape[0], step):
        yield np.asarray(item[start : start + step])


def declared_bytes(item: Any) -> int:
    """How large a variable says that it is, before anything of it is read."""
    return 0 if item.size is None else int(item.size) * int(item.dtype.itemsize)


def check_plain(item: Any, max_bytes: int) -> None:
    """Refuse what is no plain variable, or too large, before it is read."""
    # h5py asks HDF5 anew for each of these properties
    kind = item.dtype if isinstance(item, h5py.Dataset) else None
    if kind is None or kind.kind not in "fiu" or kind.subdtype:
        raise _refused(item, "it is not a variable of numbers")
    shape = item.shape
    if shape is None or math.prod(shape) * kind.itemsize > max_bytes:
        raise _refused(item, "it is larger than any session's")
    plan = item.id.get_create_plist()
    layout = plan.get_layout()
    chunk = plan.get_chunk() if layout == h5d.CHUNKED else (0,)
    if math.prod(chunk) * kind.itemsize > MAX_CHUNK_BYTES:
        raise _refused(item, "it is packed in parts larger than any session's")
    if layout == h5d.VIRTUAL or plan.get_external_count() > 0:
        raise _refused(item, "its values are kept in another file")
    if any(plan.get_filter(i)[0] not in _FILTERS for i in range(plan.get_nfilters())):
        raise _refused(item, "it is packed by a filter that no session uses")


def _refused(item: Any, what: str) -> BadInput:
    return BadInput(f"{item.file.filename}: not a session of ours: {item.name}: {what}")


def _first_line(error: BaseException) -> str:
    words = " ".join(str(error).split()) or type(error).__name__
    return words if len(words) <= 200 else words[:200] + " ..."
