"""README.txt of an archive: how to read it without fringe, and the format in full."""

from __future__ import annotations

from fringe.help import plain_text, topic_text

_START = """This folder is an archive of optical surfaces, written by `fringe`.

Each folder in it is one surface. surface-0001.json and so on hold what the surface is meant
to be, the highest number being the current record; they are plain text. Each .h5 file is one
visit to the bench. It is HDF5 and netCDF-4: h5dump, ncdump, h5py or xarray open it without
`fringe`. Lengths are in the units that the names end with.
Names that start with a dot hold nothing that the others do not: what an interrupted writer left
behind, and .index, by which lists are quick; it may be deleted. Only
.NAME.moving is a surface, whose move to another archive was interrupted: give it its name back.

"""


def readme_text() -> str:
    """Return what an archive tells about itself: how to read it, and the format in full."""
    return _START + plain_text(topic_text("record"))
