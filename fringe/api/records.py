"""The record from Python: open a surface, log a visit, ask what all visits say."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar, Unpack

from fringe.api.typed import (
    RULES,
    SENSES,
    Length,
    Rule,
    Sense,
    to_mm,
    to_surface,
    to_u,
    to_word,
)

if TYPE_CHECKING:
    from fringe.api.visit_words import VisitWords
    from fringe.archive.store.surface import Surface
    from fringe.archive.views.judged_pair import JudgedPair
    from fringe.archive.views.logged_visit import LoggedVisit
    from fringe.archive.views.surface_state import SurfaceState

OnTop = Literal["work", "tool"]
T = TypeVar("T")


def open_surface(place: str | os.PathLike[str]) -> Surface:
    """Find a surface by ``ARCHIVE/NAME``, or by the path of its folder.

    Raises
    ------
    BadInput
        If there is none; the line names those that are nearly called so.

    Examples
    --------
    >>> import fringe
    >>> fringe.open_surface("shop/concave 1")
    Traceback (most recent call last):
    fringe.errors.BadInput: shop/concave 1: there is no such surface; give ARCHIVE/NAME...
    """
    from fringe.archive.store.surface import find_surface

    return find_surface(os.fspath(place))


def log_visit(
    surface: Surface | str | os.PathLike[str],
    *photos: str | os.PathLike[str],
    lamp: str | None = None,
    edge: str = "auto",
    sense: Sense = "auto",
    camera_distance: Length | None = None,
    stage: str | None = None,
    minutes: float | Sequence[float] | None = None,
    on_top: OnTop | Sequence[OnTop] | None = None,
    rested: float | None = None,
    remark: str | None = None,
    by: str | None = None,
    when: str | None = None,
    replaces: int | str | None = None,
    **more: Unpack[VisitWords],
) -> LoggedVisit:
    """Log a visit to the bench in a surface's record, as `fringe log` does.

    What is not said is as the last time: camera, spherometer, and with minutes alone stage and
    piece on top. The time is the photograph's own where its camera noted it, else now.

    Parameters
    ----------
    surface : Surface, str or path
        From :func:`fringe.open_surface`, or what that takes.
    *photos : str or path
        Photographs of the contact; each is read, and kept with its original bytes.
    lamp, edge, sense, camera_distance
        As of :func:`fringe.read`; the lamp is else the surface's usual one.
    stage, minutes, on_top : str, float, {'work', 'tool'}, optional
        Work since the last visit: its grit or `polish`, how long [min], the upper piece. Of a
        spell that was split a list of minutes, and as many pieces.
    rested : float, optional
        Minutes since the lap when it was read; 0 straight from it.
    remark, by : str, optional
        Free text, and who measured.
    when : str, optional
        Time of the visit as ``2026-03-14T09:30``; else now.
    replaces : int, optional
        Number of the visit that this one corrects.
    **more
        What else `fringe log` takes, by the names of its options, see
        :class:`fringe.api.visit_words.VisitWords`: `against`, `gap`, `sag_plate`, `pits`, ...

    Returns
    -------
    LoggedVisit
        `path` of the file, `number` of the visit, `state`, what all visits say with it, and
        `assumed`, what was taken from the last time.

    Raises
    ------
    BadInput
        If something that is said makes no sense, or is hardly meant and `yes` is not given;
        nothing is written then.
    Refused
        If a photograph supports no reading; nothing is written then.
    """
    from fringe.api.visit_words import of_photographs, of_visit
    from fringe.archive.views.changed_visits import log_or_change
    from fringe.archive.views.visit_request import VisitRequest
    from fringe.orders.options import StatedOptions

    stated = StatedOptions(
        lamp=lamp,
        edge=edge,
        camera_distance_mm=to_mm("camera_distance", camera_distance, None),
        sense=to_word("sense", sense, SENSES),
        **of_photographs(more),
    )
    request = VisitRequest(
        stage=stage,
        minutes=_several(minutes),
        on_top=_several(on_top),
        rested_minutes=rested,
        remark=remark,
        by=by,
        when=when,
        replaces=None if replaces is None else str(replaces),
        **of_visit(more),
    )
    return log_or_change(to_surface(surface), [Path(one) for one in photos], request, stated)


def _several(value: T | Sequence[T] | None) -> tuple[T, ...]:
    """Values given as one, several or none."""
    if value is None:
        return ()
    if isinstance(value, str) or not isinstance(value, Sequence):
        return (value,)  # type: ignore[return-value]
    return tuple(value)


def progress(surface: Surface | str | os.PathLike[str]) -> SurfaceState:
    """Judge a surface's visits, and say what to do next, as `fringe progress` does.

    Parameters
    ----------
    surface : Surface, str or path
        From :func:`fringe.open_surface`, or what that takes.

    Returns
    -------
    SurfaceState
        `rows`, one a visit; `verdict` of the last one; `next_step`; `problems`, one line for
        each session that cannot be read. `to_json()` has the keys of `fringe progress --json`.

    Raises
    ------
    BadInput
        If there is no such surface.
    """
    from fringe.archive.views.surface_state import surface_state

    return surface_state(to_surface(surface))


def match(
    convex: Surface | str | os.PathLike[str],
    concave: Surface | str | os.PathLike[str],
    *,
    system: str | os.PathLike[str] | None = None,
    tolerance_power_fringes: float | None = None,
    tolerance_radius: Length | None = None,
    tolerance_irregularity_fringes: float | None = None,
    rule: Rule | None = None,
    contact_u_fringes: float | None = None,
    contact_common_u_fringes: float | None = None,
    lamp: str | None = None,
) -> JudgedPair:
    """Say whether a convex and a concave match, as `fringe pair` does.

    Parameters
    ----------
    convex, concave : Surface, str or path
        From :func:`fringe.open_surface`, or what that takes; in either order.
    system : str or path, optional
        File of the system that the pair is for: its match tolerance.
    tolerance_power_fringes, tolerance_irregularity_fringes : float, optional
        Else: what is allowed between the two [fringe].
    tolerance_radius : str or quantity, optional
        Mismatch of the radii allowed.
    rule : {'simple', 'guard95', 'shrinkU'}, optional
        Decision rule; else the tolerance's.
    contact_u_fringes, contact_common_u_fringes : float, optional
        Standard uncertainty of each contact besides its reading (temperature, plate's form),
        0.05 without it, and the part of it that all contacts of the two share [fringe].
    lamp : str, optional
        To count fringes in; else the surfaces' own.

    Returns
    -------
    JudgedPair
        `pair` with radii, mismatch and `verdict`; `record`, the evidence; `step`, what to do
        next. `to_json()` has the keys of `fringe pair --json`.

    Raises
    ------
    BadInput
        If the two are no pair, or nothing was measured.
    """
    from fringe.archive.views.judged_pair import CONTACT_U_FRINGES, MatchLimits, judged_pair

    contact = CONTACT_U_FRINGES if contact_u_fringes is None else contact_u_fringes
    limits = MatchLimits(
        system=None if system is None else Path(system),
        tolerance_power_fringes=tolerance_power_fringes,
        tolerance_radius_mm=to_mm("tolerance_radius", tolerance_radius, None),
        tolerance_irregularity_fringes=tolerance_irregularity_fringes,
        rule=None if rule is None else to_word("rule", rule, RULES),
        contact_u_fringes=to_u("contact_u_fringes", contact),
        contact_common_u_fringes=contact_common_u_fringes
        and to_u("contact_common_u_fringes", contact_common_u_fringes),
        lamp=lamp,
    )
    return judged_pair(to_surface(convex), to_surface(concave), limits)
