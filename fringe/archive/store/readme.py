"""What lies in every archive for whoever finds it: README.txt, with the format name by name."""

from __future__ import annotations

import inspect
import re

import fringe.archive

_START = """This folder is an archive of optical surfaces, written by `fringe`.

Each folder in it is one surface. surface-0001.json and so on hold what the surface is meant
to be, the highest number being the current record; they are plain text.
Each .h5 file is one visit to the bench. It is HDF5 and netCDF-4: h5dump, ncdump, h5py or
xarray open it without `fringe`. The photographs lie inside with their original bytes, in
/photograph_1/data and so on. To prove that a file is as it was written, compare
    head -c -128 FILE.h5 | sha256sum
with the digest on the file's last line (tail -c 128 FILE.h5).
Lengths are in the units that the names end with, and each variable tells its unit and meaning;
h5dump -A FILE.h5 shows all of that but not the photographs.
Names that start with a dot hold nothing that the others do not: what an interrupted writer left
behind, and .index, by which lists are quick; it may be deleted. Only
.NAME.moving is a surface, whose move to another archive was interrupted: give it its name back.

"""


def readme_text() -> str:
    """Return what an archive tells about itself: how to read it, and the format in full."""
    page = inspect.getdoc(fringe.archive) or ""  # there is none where Python leaves them out
    plain = re.sub(r":mod:`([\w.]+)`", r"\1", page.replace("``", "")).replace("::\n", ":\n")
    return _START + "".join(plain.partition("Folders\n")[1:]) + "\n"
