"""Sessions changed with all digests made anew, as a person with time would."""

from __future__ import annotations

import h5py
import numpy as np

from fringe.archive.store.digest import CONTENT_ATTRIBUTE, SEAL_BYTES, content_digest, seal


def rewritten(path, change):
    """Change a session's file by a function of the open HDF5 file, and seal it again."""
    path.write_bytes(path.read_bytes()[:-SEAL_BYTES])
    with h5py.File(path, "r+") as file:
        change(file)
        del file.attrs[CONTENT_ATTRIBUTE]
        digest = content_digest(file).encode()
        file.attrs.create(CONTENT_ATTRIBUTE, np.array(digest, h5py.string_dtype("utf-8", 64)))
    data = path.read_bytes()
    path.write_bytes(data + seal(data))
