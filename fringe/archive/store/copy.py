"""Copy a session's content from one HDF5 file to another, one known name at a time.

Nothing is understood on the way: what a later version added is copied as well. Only groups,
numbers and text come across, so a hostile file brings nothing else. The content's digest
proves the copy.
"""

from __future__ import annotations

from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from fringe.archive.store import hdf5, layout
from fringe.archive.store.digest import is_bare_dimension
from fringe.errors import BadInput

_NETCDFS_OWN = {
    "_NCProperties",
    "_Netcdf4Dimid",
    "_Netcdf4Coordinates",
    "_nc3_strict",
    "CLASS",
    "NAME",
    "DIMENSION_LIST",
    "REFERENCE_LIST",
    "_FillValue",
}
_MAX_DEPTH, _MAX_MEMBERS = 8, 10_000


def copy_content(source: h5py.Group, target: Any, depth: int = 0) -> None:
    """Copy attributes, variables and groups.

    Parameters
    ----------
    source : h5py.Group
        A session's root, wherever that lies.
    target : h5netcdf.Group
        An empty group.
    depth : int
        How deep the group lies under the session's root.

    Raises
    ------
    BadInput
        If the source holds what no session has.
    """
    if depth > _MAX_DEPTH or len(source) > _MAX_MEMBERS:
        raise BadInput(f"{source.file.filename}: {source.name} holds more than any session")
    _copy_attributes(source, target)
    for name in source:
        item = hdf5.member(source, name)
        if isinstance(item, h5py.Group):
            copy_content(item, target.create_group(name), depth + 1)
        elif isinstance(item, h5py.Dataset):
            if not is_bare_dimension(item):
                _copy_variable(name, item, target)
        else:
            raise BadInput(f"{source.file.filename}: {item.name} is neither group nor variable")


def _copy_attributes(source: Any, target: Any) -> None:
    for name in sorted(set(source.attrs) - _NETCDFS_OWN):
        value = hdf5.attribute(source, name)
        if isinstance(value, str):
            target.attrs[name] = fixed_text(value) if value else value
        else:
            target.attrs[name] = value if value.size > 1 else value.reshape(-1)[0]


def _copy_variable(name: str, item: h5py.Dataset, target: Any) -> None:
    data = hdf5.numbers(item, layout.MAX_PHOTOGRAPH_BYTES)
    dimensions = tuple(_dimension(item, axis, name) for axis in range(data.ndim))
    for dimension, length in zip(dimensions, data.shape, strict=True):
        if dimension not in target.dimensions:
            target.dimensions[dimension] = length
        elif target.dimensions[dimension].size != length:
            raise BadInput(f"{item.file.filename}: {item.name} does not fit its dimensions")
    fill = hdf5.attribute(item, "_FillValue")
    storage: dict[str, Any] = {}
    if data.size and data.ndim:
        storage = {"chunks": item.chunks or data.shape, "fletcher32": True}
        if item.compression is not None:
            storage |= {"compression": "gzip", "compression_opts": 4, "shuffle": True}
    created = target.create_variable(
        name,
        dimensions,
        data.dtype,
        data=data,
        fillvalue=None if fill is None else fill.reshape(-1)[0],
        **storage,
    )
    _copy_attributes(item, created)


def _dimension(item: h5py.Dataset, axis: int, name: str) -> str:
    """Name of a variable's dimension; a coordinate is its own."""
    scales = item.dims[axis]
    if len(scales):
        return str(scales[0].name).rpartition("/")[2]
    return name if item.ndim == 1 else f"{name}_{axis + 1}"


def fixed_text(value: str, encoding: str = "utf-8") -> NDArray[Any]:
    """Text of fixed length: it lies in the object header, which has a checksum."""
    data = value.rstrip("\0").encode()
    if len(data) > layout.MAX_TEXT_BYTES:
        raise BadInput(f"text of {len(data)} bytes is too long to archive: {value[:40]!r} ...")
    return np.array(data, h5py.string_dtype(encoding, len(data)))
