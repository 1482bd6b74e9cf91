"""Write dimensions, variables and attributes of netCDF-4 into an HDF5 file.

A session has many small variables, for each of which h5netcdf looks up its dimensions again and
again: writing it so takes three times as long. What is written here is the same, object by
object, and a test holds the two against each other; exports are still written by h5netcdf. The
form is that of "NetCDF-4 Format" in the NetCDF user's guide: a dimension is an HDF5 dimension
scale.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from fringe.archive.store.copy import fixed_text

_NO_VARIABLE = b"This is a netCDF dimension but not a netCDF variable.%10d"


class NetcdfGroup:
    """A group that is being written."""

    def __init__(self, group: h5py.Group, identities: count[int]) -> None:
        self._group, self._identities = group, identities
        self._scales: dict[str, tuple[h5py.Dataset, int]] = {}

    def create_group(self, name: str) -> NetcdfGroup:
        """Add a group."""
        return NetcdfGroup(self._group.create_group(name, track_order=True), self._identities)

    def set_attributes(self, values: dict[str, Any]) -> None:
        """Write text, numbers and arrays of numbers."""
        _set_attributes(self._group, values)

    def add_dimension(self, name: str, size: int) -> None:
        """Add a dimension, which holds for this group alone."""
        scale = self._group.create_dataset(name, (size,), ">f4", track_order=True)
        self._become_scale(name, scale, next(self._identities), _NO_VARIABLE % size)

    def add_variable(
        self,
        name: str,
        dimensions: tuple[str, ...],
        data: NDArray[Any],
        attributes: dict[str, Any],
        fill_value: Any = None,
        **storage: Any,
    ) -> None:
        """Add a variable of numbers.

        Parameters
        ----------
        name : str
            That of a dimension, for its places.
        dimensions : tuple of str
            Of this group, one an axis.
        data : ndarray
        attributes : dict
            Text, numbers or arrays.
        fill_value : number or None
            Stands for what is missing.
        storage
            As of :meth:`h5py.Group.create_dataset`.
        """
        places = name in self._scales
        if places:  # they take the place of the bare dimension
            _, identity = self._scales[name]
            del self._group[name]
        created = self._group.create_dataset(
            name, data=data, fillvalue=fill_value, track_order=True, **storage
        )
        if places:
            self._become_scale(name, created, identity, name.encode())
        else:
            for axis, dimension in enumerate(dimensions):
                created.dims[axis].attach_scale(self._scales[dimension][0])
        identities = [self._scales[dimension][1] for dimension in dimensions]
        created.attrs.create("_Netcdf4Coordinates", np.array(identities, "i4"))
        if not places:
            created.attrs.create("_Netcdf4Dimid", np.int32(identities[0]))
        if fill_value is not None:
            attributes = {"_FillValue": data.dtype.type(fill_value), **attributes}
        _set_attributes(created, attributes)

    def _become_scale(
        self, name: str, dataset: h5py.Dataset, identity: int, scale_name: bytes
    ) -> None:
        dataset.attrs.create("_Netcdf4Dimid", np.int32(identity))
        dataset.make_scale(scale_name)
        self._scales[name] = dataset, identity


def _set_attributes(item: Any, values: dict[str, Any]) -> None:
    attributes = item.attrs
    for name, value in values.items():
        # netCDF has no scalars among its attributes but text
        text = isinstance(value, np.ndarray) and value.dtype.kind == "S"
        attributes.create(name, value if text else np.atleast_1d(value))


@contextmanager
def new_netcdf(buffer: io.BytesIO, libver: Any) -> Iterator[NetcdfGroup]:
    """Begin a netCDF-4 file in memory; give its root, and write it out in the end."""
    with h5py.File(buffer, "w", libver=libver, track_order=True) as file:
        yield NetcdfGroup(file, count())
        writer = f"version=2,h5py={h5py.__version__},hdf5={h5py.version.hdf5_version}"
        file.attrs.create("_NCProperties", fixed_text(writer, "ascii"))
