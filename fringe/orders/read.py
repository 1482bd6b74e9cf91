"""Read one photograph of contact fringes: from a `Photo` to a `Reading`."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from fringe.errors import Refused
from fringe.orders.checks import judge_fit, with_form_warnings
from fringe.orders.edge.find import find_edge
from fringe.orders.fit.solve import solve
from fringe.orders.from_fit import (
    reading_of,
)
from fringe.orders.options import ReadOptions, check_edge
from fringe.orders.reading import Reading
from fringe.orders.sense.contrast import SENSE_UNKNOWN, sense_from_contrast
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

# Fringes of contact are read up to 25 degrees off axis; an outline found as from 35 degrees
# or beyond is that of something else: a face, a hand, a box.
_LEAST_OVAL = 0.82


def read(photo: Photo, options: ReadOptions) -> Reading:
    """Read the fringes of one photograph.

    Parameters
    ----------
    photo : Photo
    options : ReadOptions

    Returns
    -------
    Reading

    Raises
    ------
    BadInput
        If the options contradict each other or the photograph.
    Refused
        If the photograph does not support a reading that can be trusted.
    """
    try:
        return _read(photo, options)
    except np.linalg.LinAlgError as error:  # a picture on which the equations have no solution
        raise Refused(
            f"{photo.name}: the light does not determine any fringes; check lamp, focus and edge"
        ) from error


def _read(photo: Photo, options: ReadOptions) -> Reading:
    if options.edge == "none":
        from fringe.orders.rings import read_rings

        return read_rings(photo, options)
    if isinstance(options.edge, Edge):
        edge, source, known = options.edge, "given", None
        check_edge(photo, edge)
    else:
        found_edge = find_edge(photo)
        edge, source, known = found_edge.edge, "found", found_edge.model
        _check_oval(photo, edge)
    solution = solve(photo, edge, known=known)
    warnings = [*photo.notes, *judge_fit(photo, solution)]
    if source == "found" and edge.u_px > 0.01 * edge.a:
        if solution.span < 3:
            raise Refused(
                f"{photo.name}: the work's edge is not certain, and fringes are too few to tell;"
                " give it with --edge CX,CY,R"
            )
        warnings.append(
            "the edge was found with little certainty: look at --picture, or give it with --edge"
        )
    contrast_sense = SENSE_UNKNOWN
    if options.sense == "auto":
        contrast_sense = sense_from_contrast(photo, edge, solution.fit, options.lamp)
    reading = reading_of(
        options, edge, source, solution, warnings, contrast_sense, photo.sha256 or photo.name
    )
    return with_form_warnings(photo, reading)


def _check_oval(photo: Photo, edge: Edge) -> None:
    """Refuse an outline that no round work has, seen from where its fringes can be read."""
    if edge.b < _LEAST_OVAL * edge.a:
        view = math.degrees(math.acos(edge.cos_view))
        raise Refused(
            f"{photo.name}: the outline found is an oval, as of a disc seen {view:.0f} degrees"
            " off axis, and hardly the work's; photograph from above, or give"
            " --edge CX,CY,A,B,ANGLE"
        )


def read_file(path: str | Path, options: ReadOptions) -> Reading:
    """Load a photograph and read it; see `load_photo` and `read`."""
    from fringe.photo.load import load_photo

    return read(load_photo(path), options)
