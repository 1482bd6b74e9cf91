"""`fringe export`: a surface as a table, as one file, or as a folder of photographs."""

from __future__ import annotations

from pathlib import Path

import click

from fringe.cli.params import Written, json_option
from fringe.cli.printing import answer, tell


@click.command("export", short_help="Write a surface out: table, one file, or photographs.")
@click.argument("surface")
@click.argument("out", type=Written(kind="new"))
@json_option
def command(surface: str, out: Path, as_json: bool) -> None:
    """Write a surface out: table, one file, or photographs.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. OUT says by its name what is
    written: `.csv` a table of all readings; `.h5` or `.nc` one HDF5 and netCDF-4 file with
    everything; any other name a folder with the photographs, what was read of each, and the
    archive's own files. The last two come back without loss by `fringe import`.

    \b
    Example:
      fringe export 'shop/concave 1' visits.csv
      fringe export 'shop/concave 1' concave-1.nc
      fringe export 'shop/concave 1' concave-1
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.transfer.export import export_surface
    from fringe.cli._waiting import waiting
    from fringe.show.text.transfer import exported_rows

    with waiting("exporting", quiet=as_json):
        done = export_surface(find_surface(surface), out)
    answer(as_json, done.to_json, lambda: exported_rows(done))
    if not as_json:
        tell(f"left out: {problem}" for problem in done.problems)
