"""What we write of netCDF-4 is, object by object, what h5netcdf writes."""

from __future__ import annotations

import io

import h5netcdf
import h5py
import numpy as np

from fringe.archive.store.copy import fixed_text
from fringe.archive.store.layout import LIBVER
from fringe.archive.store.netcdf import new_netcdf

STORAGE = {"chunks": (4,), "fletcher32": True, "compression": "gzip", "shuffle": True}
NUMBERS = np.array([1.5, np.nan, -2.0, 7.0])
TABLE = np.arange(12, dtype="f4").reshape(4, 3)


def ours() -> io.BytesIO:
    buffer = io.BytesIO()
    with new_netcdf(buffer, LIBVER) as file:
        file.set_attributes({"title": fixed_text("größer"), "count": np.int64(3)})
        file.add_dimension("reading", 4)
        file.add_variable(
            "power", ("reading",), NUMBERS, {"units": fixed_text("1")}, np.nan, **STORAGE
        )
        group = file.create_group("inner")
        group.set_attributes({"list": np.array([2, 1], "i4")})
        for name, size in (("y", 4), ("x", 3)):
            group.add_dimension(name, size)
        group.add_variable("y", ("y",), np.arange(4.0), {"units": fixed_text("mm")}, chunks=(4,))
        group.add_variable("gap", ("y", "x"), TABLE, {}, np.float32("nan"), chunks=(2, 3))
    return buffer


def theirs() -> io.BytesIO:
    buffer = io.BytesIO()
    with h5netcdf.File(buffer, "w", libver=LIBVER) as file:
        file.attrs["title"], file.attrs["count"] = fixed_text("größer"), np.int64(3)
        file.dimensions["reading"] = 4
        power = file.create_variable(
            "power", ("reading",), "f8", data=NUMBERS, fillvalue=np.nan, **STORAGE
        )
        power.attrs["units"] = fixed_text("1")
        group = file.create_group("inner")
        group.attrs["list"] = np.array([2, 1], "i4")
        group.dimensions["y"], group.dimensions["x"] = 4, 3
        places = group.create_variable("y", ("y",), "f8", data=np.arange(4.0), chunks=(4,))
        places.attrs["units"] = fixed_text("mm")
        group.create_variable(
            "gap", ("y", "x"), "f4", data=TABLE, fillvalue=np.float32("nan"), chunks=(2, 3)
        )
    return buffer


def described(buffer: io.BytesIO) -> list[tuple[object, ...]]:
    """Every object and attribute in the order of its making, with type, shape and bytes."""
    found: list[tuple[object, ...]] = []

    def attribute(item, name):
        kind, value = item.attrs.get_id(name).dtype, item.attrs[name]
        if name == "DIMENSION_LIST":
            return [[item.file[one].name for one in axis] for axis in value]
        if name == "REFERENCE_LIST":
            return sorted((item.file[one].name, int(axis)) for one, axis in value)
        return kind, item.attrs.get_id(name).shape, np.asarray(value).tobytes()

    def visit(item):
        for name in item.attrs:
            if name != "_NCProperties":
                found.append((item.name, name, attribute(item, name)))
        if isinstance(item, h5py.Dataset):
            storage = item.chunks, item.compression, item.shuffle, item.fletcher32, item.maxshape
            values = item[()].tobytes(), np.asarray(item.fillvalue).tobytes()
            found.append((item.name, item.dtype, item.shape, *storage, *values))
            return
        for name in item:
            visit(item[name])

    with h5py.File(buffer, "r") as file:
        visit(file)
    return found


def test_it_is_what_h5netcdf_writes() -> None:
    """Dimensions, places, tables, fill values, groups and attributes come out the same."""
    mine, reference = described(ours()), described(theirs())
    assert len(mine) > 25
    assert mine == reference


def test_it_says_who_wrote_it() -> None:
    """The file names the libraries that wrote it, in the netCDF library's own form."""
    with h5py.File(ours(), "r") as file:
        versions = f"h5py={h5py.__version__},hdf5={h5py.version.hdf5_version}"
        assert file.attrs["_NCProperties"] == f"version=2,{versions}".encode()
