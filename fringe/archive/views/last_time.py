"""What a surface was logged with the last time, for what is not said now.

A camera, a spherometer and a partner stay as they are from visit to visit; the stage and the
piece on top do where minutes of work are told without them. What was taken over is told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fringe.archive.instruments import record_if_any
from fringe.archive.store import hdf5
from fringe.archive.store.needed import mapping
from fringe.archive.store.order import survey
from fringe.archive.store.session import SessionSummary
from fringe.archive.store.surface import Surface
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput
from fringe.orders.options import StatedOptions

NONE = "none"  # said for an instrument: this time without
_LOOKED_AT = 12  # of the last visits


@dataclass(frozen=True)
class LastTime:
    """What is taken over from the last time.

    Attributes
    ----------
    request : VisitRequest
    stated : StatedOptions
        What is said, completed.
    told : tuple of str
        What was taken over, as `camera desk`.
    doubt : str or None
        Why that may not be meant.
    """

    request: VisitRequest
    stated: StatedOptions
    told: tuple[str, ...] = ()
    doubt: str | None = None


def as_last_time(
    surface: Surface, photos: Sequence[Path], request: VisitRequest, stated: StatedOptions
) -> LastTime:
    """Complete what is said of a visit by what the surface was logged with the last time.

    A correction takes over from the visit that it corrects, and nothing here.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    photos : sequence of Path
    request, stated
        As they were said; `none` for a camera or a spherometer means none.
    """
    camera, spherometer = stated.camera, request.spherometer
    stated = replace(stated, camera=None) if camera == NONE else stated
    request = replace(request, spherometer=None) if spherometer == NONE else request
    if request.replaces is not None:
        return LastTime(request, stated)
    assert surface.folder is not None
    visits = survey(surface.folder).sessions[::-1]
    told = []
    if photos and camera is None:
        stated = _with_camera(surface, visits, stated)
        told += [f"camera {stated.camera}"] if stated.camera else []
    if request.sag_work and request.sag_plate and spherometer is None:
        name = _last_named(surface, visits, "spherometer")
        request = replace(request, spherometer=name)
        told += [f"spherometer {name}"] if name else []
    partner = _partner(surface, visits) if photos and request.against is None else None
    if partner is not None:
        request = replace(request, against=partner)
        told.append(f"on {partner}")
    request, more, doubt = _with_work(visits, request)
    return LastTime(request, stated, (*told, *more), doubt)


def with_last_camera(surface: Surface, stated: StatedOptions) -> StatedOptions:
    """What is said of a photograph, with the camera that the surface had the last time."""
    if stated.camera == NONE:
        return replace(stated, camera=None)
    if stated.camera is not None or surface.folder is None:
        return stated
    return _with_camera(surface, survey(surface.folder).sessions[::-1], stated)


def _with_camera(
    surface: Surface, visits: Sequence[SessionSummary], stated: StatedOptions
) -> StatedOptions:
    if stated.camera_distance_mm is not None or stated.scale_px_per_mm is not None:
        return stated  # another camera, or another place of it
    return replace(stated, camera=_last_named(surface, visits, "camera"))


def _last_named(surface: Surface, visits: Sequence[SessionSummary], kind: str) -> str | None:
    """Name of the instrument that was used last, if it was on record and is still."""
    assert surface.folder is not None
    for one in visits[:_LOOKED_AT]:
        inputs = _inputs(one)
        used = one.photographs if kind == "camera" else "sag_work" in inputs
        if used:
            name = inputs.get(kind)
            known = name and record_if_any(surface.folder.parent, kind, str(name))
            return str(name) if known else None
    return None


def _partner(surface: Surface, visits: Sequence[SessionSummary]) -> str | None:
    """The piece that a surface without a plate was laid on the last time."""
    if surface.plate.name is not None or surface.plate.radius_mm is not None:
        return None
    read = (one for visit in visits[:_LOOKED_AT] for one in visit.measured)
    return next((one.against for one in read if one.source != "spherometer"), None)


def _with_work(
    visits: Sequence[SessionSummary], request: VisitRequest
) -> tuple[VisitRequest, list[str], str | None]:
    """Stage and piece on top, where minutes are told without the stage."""
    last = next((one.work for one in visits if one.work.worked and one.work.stage), None)
    if not request.minutes or request.stage is not None or last is None:
        return request, [], None
    request = replace(request, stage=last.stage)
    told = [f"stage {last.stage}"]
    if not request.on_top and last.on_top is not None and len(request.minutes) == 1:
        request = replace(request, on_top=(last.on_top,))
        told.append(f"{last.on_top} on top")
        return request, told, _otherwise_advised(visits[0].told_step, request)
    return request, told, None


def _otherwise_advised(advised: Mapping[str, Any], request: VisitRequest) -> str | None:
    """What was advised the last time, where that is not what was done before it."""
    stage, piece = advised.get("stage"), advised.get("piece_on_top")
    if advised.get("action") not in ("grind", "polish") or piece is None:
        return None
    if (stage, piece) == (request.stage, request.on_top[0]) and not advised.get("alternate"):
        return None
    return (
        f"--minutes alone means {request.stage}, {request.on_top[0]} on top, as the last time; "
        f"but what was advised then is {advised.get('text')}"
    )


def _inputs(one: SessionSummary) -> Mapping[str, Any]:
    try:
        with hdf5.opened(one.place) as file:
            return mapping(file, "inputs")
    except BadInput:  # a list tells of damage, and who logs is not kept from it
        return {}
