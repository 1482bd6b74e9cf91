"""Read one photograph of contact fringes: from a `Photo` to a `Reading`."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from fringe.errors import Refused
from fringe.orders.agreement import patches_of
from fringe.orders.beyond import refuse_what_goes_on
from fringe.orders.checks import (
    MUCH_DOUBT,
    is_borne_out,
    is_far_from_sphere,
    is_followed,
    is_of_odd_form,
    judge_fit,
    with_form_warnings,
)
from fringe.orders.continuity import continuity
from fringe.orders.edge.candidates import bright_discs
from fringe.orders.edge.find import FoundEdge, find_edge, past_dark_fringe
from fringe.orders.few import less_than_one_fringe, shows_no_fringe
from fringe.orders.fit.solve import solve
from fringe.orders.from_fit import reading_of
from fringe.orders.lamp_colour import lamp_warnings
from fringe.orders.mixed_lamp import in_one_line, refuse_where_lines_cancel
from fringe.orders.options import ReadOptions, check_edge
from fringe.orders.reading import Reading
from fringe.orders.ring_growth import growth_warnings, refuse_clear_marks
from fringe.orders.sense.contrast import SENSE_UNKNOWN, sense_from_contrast
from fringe.orders.turned_rim import beyond_edge
from fringe.orders.winding import refuse_spirals
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo
from fringe.threads import one_thread

# Works are seldom photographed from more than 25 degrees off axis; an outline found as from 35
# degrees or beyond is that of something else, a face, a hand, a box, unless a fit follows its
# fringes without any doubt.
_LEAST_OVAL, _USED_OF_OVAL, _STAYS = 0.82, 0.9, 0.01
# fringes that fits find on light which turns too seldom for one: of 70 matched contacts 1.1 to 2.8
_ONE_FRINGE, _FEW_FRINGES = 1.0, 3.0


@one_thread()
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
    photo, options = in_one_line(photo, options)
    if options.edge == "none":
        from fringe.orders.rings import read_rings

        return read_rings(photo, options)
    if isinstance(options.edge, Edge):
        check_edge(photo, options.edge)
        return _read_inside(photo, options, FoundEdge(options.edge), "given")
    try:
        found = find_edge(photo)
    except Refused as refusal:
        raise _refusal_without_edge(photo, options, refusal) from refusal
    return _read_inside(photo, options, found, "found")


def _read_inside(photo: Photo, options: ReadOptions, found: FoundEdge, source: str) -> Reading:
    """Read the fringes inside an edge that is known."""
    edge = found.edge
    try:
        solution = solve(
            photo, edge, known=found.model, judge=partial(refuse_clear_marks, photo.name)
        )
        farther = past_dark_fringe(photo, edge, solution.fit) if source == "found" else None
        if farther is not None:
            edge, solution = farther.edge, solve(photo, farther.edge, known=farther.model)
        rim = beyond_edge(photo, edge, solution, found=source == "found")
        edge, solution = rim.edge, rim.solution
        patches = patches_of(solution.field, solution.fit)
        counted = continuity(photo, edge, solution.fit, patches)
        solution = replace(solution, unexplained=patches.unexplained, miscounted=counted.is_broken)
        warnings = [*rim.warnings, *judge_fit(photo, solution), *counted.warnings()]
        if _ONE_FRINGE < solution.span < _FEW_FRINGES and shows_no_fringe(photo, edge):
            raise less_than_one_fringe(photo, edge)  # the fit bends where the light does not
    except Refused as refusal:
        if shows_no_fringe(photo, edge):
            raise less_than_one_fringe(photo, edge) from refusal
        raise
    if source == "found":
        stays = abs(edge.a - found.edge.a) < _STAYS * edge.a
        if options.channel_light is not None:
            refuse_where_lines_cancel(photo, edge, solution.fit.model, options.channel_light)
        followed = stays and solution.fit.used > _USED_OF_OVAL and not warnings
        _check_oval(photo, edge, followed=followed)
    warnings = [*photo.notes, *warnings]
    refuse_spirals(photo.name, solution.fit.model, patches)
    warnings += growth_warnings(photo.name, solution.fit.model, solution.span)
    refuse_what_goes_on(photo, edge, solution.fit.model)
    warnings += lamp_warnings(photo, options.lamp, edge)
    if source == "found" and edge.u_px > 0.01 * edge.a:
        if solution.span < 3:
            _refuse_matched_disc(photo)
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
    name = photo.sha256 or photo.name
    made = partial(reading_of, options, edge, source)
    reading = made(solution, warnings, contrast_sense, name, photo.focal_px)
    told_nothing = abs(reading.power_fringes or 0.0) < (reading.power_u95_fringes or 0.0)
    if (told_nothing or is_of_odd_form(reading)) and shows_no_fringe(photo, edge):
        raise less_than_one_fringe(photo, edge)
    if source == "found" and solution.light_doubt > MUCH_DOUBT:
        _refuse_matched_disc(photo)  # the edge was sought where fringes seemed to be
    followed = is_followed(solution)
    if rim.warnings:  # a rim that is not seen proves no form
        followed |= not is_far_from_sphere(reading, reading.irregularity_u95_fringes or 0.0)
    if not followed and is_far_from_sphere(reading) and is_borne_out(solution, patches):
        odd, followed = replace(solution, odd=True), True
        reading = made(odd, warnings, contrast_sense, name, photo.focal_px)
    return with_form_warnings(photo, reading, followed=followed)


def _refusal_without_edge(photo: Photo, options: ReadOptions, refusal: Refused) -> Refused:
    """What a picture shows in which no edge was found: rings without one, or not a fringe."""
    from fringe.orders.rings import read_rings

    if "--edge" in str(refusal):  # the edge is in doubt
        with contextlib.suppress(Refused):
            read_rings(photo, options)
            return Refused(
                f"{photo.name}: rings without an edge were found: read with --edge none, or give"
                " the edge with --edge CX,CY,R"
            )
        for disc in _matched_discs(photo):
            return less_than_one_fringe(photo, disc)
    return refusal


def _refuse_matched_disc(photo: Photo) -> None:
    """Refuse a picture in which a bright disc shows less than one fringe."""
    for disc in _matched_discs(photo):
        raise less_than_one_fringe(photo, disc)


def _matched_discs(photo: Photo) -> Iterator[Edge]:
    """Bright discs in the picture that show less than one fringe."""
    return (disc for disc in bright_discs(photo) if shows_no_fringe(photo, disc))


def _check_oval(photo: Photo, edge: Edge, *, followed: bool) -> None:
    """Refuse an outline that hardly any round work has, unless fringes are followed all over it."""
    if edge.b < _LEAST_OVAL * edge.a and not followed:
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
