"""Photographs from Python: read one or a burst, label its arrays, tell its uncertainty."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, Unpack

from fringe.api.typed import (
    FORMS,
    SENSES,
    Form,
    Length,
    LengthsMm,
    Sense,
    to_edge,
    to_frames,
    to_lamp,
    to_mm,
    to_photo,
    to_sizes,
    to_u_mm,
    to_word,
)
from fringe.errors import BadInput

if TYPE_CHECKING:
    import xarray as xr

    from fringe.api.budgets import BudgetWords
    from fringe.archive.store.surface import Surface
    from fringe.judge.uncertainty.budget import Budget
    from fringe.optics.lamps import Lamp
    from fringe.orders.options import ReadOptions
    from fringe.orders.reading import Reading
    from fringe.photo.ellipse import Edge
    from fringe.photo.load import Photo


def read(
    photo: Photo | str | os.PathLike[str] | bytes,
    options: ReadOptions | None = None,
    *,
    lamp: str | Lamp | None = None,
    edge: str | Edge | Sequence[float] = "auto",
    diameter: Length | None = None,
    chamfer: Length | None = None,
    plate_radius: Length | None = None,
    work: Form = "convex",
    camera_distance: Length | None = None,
    sense: Sense = "auto",
    scale_px_per_mm: float | None = None,
    **in_mm: Unpack[LengthsMm],
) -> Reading:
    """Read the fringes of one photograph, as `fringe read` does.

    Parameters
    ----------
    photo : Photo, path or bytes
        A JPEG, PNG or TIFF file, its content, or what :func:`fringe.load_photo` made of it.
    options : ReadOptions, optional
        All that is said of the photograph, in place of the words below.
    lamp : str or Lamp
        A name of `fringe lamps`, ``led:PEAK_NM:FWHM_NM``, or a lamp.
    edge : str, Edge or sequence of float
        `auto`, `none`, ``"CX,CY,R"`` or ``"CX,CY,A,B,ANGLE"`` [px; degree], or these numbers.
    diameter, plate_radius, camera_distance : str or quantity, optional
        Of the aperture, of the plate, from the work to the lens; or `diameter_mm=` and so on.
    chamfer : str or quantity, optional
        Width of the bevel at the rim, or `chamfer_mm=`; the diameter is over all then, and the
        aperture the face inside the bevel. `0mm` says that there is none.
    work : {'convex', 'concave'}
        Form of the work.
    sense : {'auto', 'centre', 'edge'}
        Where the contact is, if that is known.
    scale_px_per_mm : float, optional
        Pixels a millimetre on the work.
    **in_mm
        The lengths as numbers [mm], and their standard uncertainties `u_diameter_mm`,
        `u_plate_radius_mm`.

    Returns
    -------
    Reading
        Frozen; `to_json()` has the keys of `fringe read --json`, and
        :func:`fringe.to_dataset` its gap map.

    Raises
    ------
    BadInput
        For a file, a length or a word that is none, or options that contradict each other.
    Refused
        If the photograph does not support a reading that can be trusted.

    Examples
    --------
    >>> import fringe
    >>> shown = fringe.render("contact.png", power=3.5, tilt=2, size="500", seed=7)
    >>> reading = fringe.read("contact.png", lamp="sodium", diameter="150mm",
    ...                       plate_radius="3048mm", sense="centre")
    >>> abs(reading.power_fringes - shown.truth["power_fringes"]) < 0.1
    True
    >>> reading.radius_difference_mm < 0  # contact at the centre: a convex work is shorter
    True
    """
    from fringe.orders.read import read as read_photo

    if options is None:
        options = read_options(
            lamp=lamp,
            edge=edge,
            diameter=diameter,
            chamfer=chamfer,
            plate_radius=plate_radius,
            work=work,
            camera_distance=camera_distance,
            sense=sense,
            scale_px_per_mm=scale_px_per_mm,
            **in_mm,
        )
    return read_photo(to_photo(photo), options)


def read_burst(
    photos: Sequence[Photo | str | os.PathLike[str] | bytes],
    options: ReadOptions | None = None,
    *,
    lamp: str | Lamp | None = None,
    edge: str | Edge | Sequence[float] = "auto",
    diameter: Length | None = None,
    chamfer: Length | None = None,
    plate_radius: Length | None = None,
    work: Form = "convex",
    camera_distance: Length | None = None,
    sense: Sense = "auto",
    scale_px_per_mm: float | None = None,
    **in_mm: Unpack[LengthsMm],
) -> Reading:
    """Read frames of one contact as one reading, as `fringe read --burst` does.

    Parameters
    ----------
    photos : sequence of Photo, path or bytes
        Frames from one place, with a little press or drift between them; or one film clip.
    options, lamp, edge, diameter, chamfer, plate_radius, work, camera_distance, sense,
    scale_px_per_mm
        As of :func:`fringe.read`.

    Returns
    -------
    Reading
        Its `frames` and `steps_fringes` say what the frames were.

    Raises
    ------
    BadInput
        As :func:`fringe.read`; or for too few frames, or frames of different sizes.
    Refused
        If the frames do not support a reading that can be trusted.
    """
    from fringe.orders.burst.read_burst import read_burst as read_frames

    if options is None:
        options = read_options(
            lamp=lamp,
            edge=edge,
            diameter=diameter,
            chamfer=chamfer,
            plate_radius=plate_radius,
            work=work,
            camera_distance=camera_distance,
            sense=sense,
            scale_px_per_mm=scale_px_per_mm,
            **in_mm,
        )
    return read_frames(to_frames(photos), options)


def read_options(
    *,
    lamp: str | Lamp | None,
    edge: str | Edge | Sequence[float] = "auto",
    diameter: Length | None = None,
    chamfer: Length | None = None,
    plate_radius: Length | None = None,
    work: Form = "convex",
    camera_distance: Length | None = None,
    sense: Sense = "auto",
    scale_px_per_mm: float | None = None,
    **in_mm: Unpack[LengthsMm],
) -> ReadOptions:
    """Make `ReadOptions` of what a person types; the words are those of :func:`fringe.read`.

    Raises
    ------
    BadInput
        For a word, a length or an edge that is none.

    Examples
    --------
    >>> import fringe
    >>> fringe.read_options(lamp="sodium", diameter="6in", edge="500,500,420").diameter_mm
    152.39999999999998
    """
    from fringe.orders.options import ReadOptions

    if scale_px_per_mm is not None and not 0 < scale_px_per_mm < float("inf"):
        raise BadInput(f"scale_px_per_mm: {scale_px_per_mm!r} is not greater than zero")
    sizes = to_sizes(diameter, chamfer, in_mm)
    return ReadOptions(
        lamp=to_lamp(lamp),
        edge=to_edge(edge),
        diameter_mm=sizes.aperture_mm,
        chamfer_mm=sizes.chamfer_mm,
        plate_radius_mm=to_mm("plate_radius", plate_radius, in_mm.get("plate_radius_mm")),
        work=to_word("work", work, FORMS),
        camera_distance_mm=to_mm(
            "camera_distance", camera_distance, in_mm.get("camera_distance_mm")
        ),
        sense=to_word("sense", sense, SENSES),
        scale_px_per_mm=scale_px_per_mm,
        u_diameter_mm=sizes.u_aperture_mm(to_u_mm("u_diameter_mm", in_mm.get("u_diameter_mm"))),
        u_plate_radius_mm=to_u_mm("u_plate_radius_mm", in_mm.get("u_plate_radius_mm")),
    )


def to_dataset(result: Reading | Surface, diameter: Length | None = None) -> xr.Dataset:
    """Return a reading with its gap map, or a surface's visits, as labelled arrays (xarray).

    Parameters
    ----------
    result : Reading or Surface
        A reading with a form, or a surface from :func:`fringe.open_surface`.
    diameter : str or quantity, optional
        Of a reading's aperture, for places in mm; else they are in semi-diameters.

    Returns
    -------
    xarray.Dataset
        Of a reading `gap_nm` (y, x), `coefficient_fringes` (term) and their covariance; of a
        surface the columns of `fringe progress --json` along `visit`.

    Raises
    ------
    BadInput
        If the reading has no form, or a session of the surface cannot be read.

    Examples
    --------
    >>> import fringe
    >>> fringe.render("contact.png", power=3.5, tilt=2, size="500", seed=7).image.shape
    (500, 500, 3)
    >>> gap = fringe.to_dataset(fringe.read("contact.png", lamp="sodium"), "150mm").gap_nm
    >>> gap.dims, gap.units
    (('y', 'x'), 'nm')
    """
    from fringe.archive.views.datasets import reading_dataset, visits_dataset
    from fringe.orders.reading import Reading

    if isinstance(result, Reading):
        return reading_dataset(result, to_mm("diameter", diameter, None))
    return visits_dataset(result)


def budget(
    *of: Reading | Surface | str | os.PathLike[str],
    diameter: Length | None = None,
    chamfer: Length | None = None,
    plate_radius: Length | None = None,
    work: Form = "convex",
    visit: int | None = None,
    trials: int = 0,
    **assumed: Unpack[BudgetWords],
) -> dict[str, Budget]:
    """Say where the uncertainty of what was measured comes from, as `fringe budget` does.

    Parameters
    ----------
    *of : Reading, or a Surface, str or path
        One or more readings of one contact, which count as their mean; or a surface of an
        archive, of which a visit counts with all its records say.
    diameter, chamfer, plate_radius, work
        Of readings, as of :func:`fringe.read`; with both lengths there are budgets of the radii.
    visit : int, optional
        Number of the surface's visit; the last one that measured, without it.
    trials : int
        Draws of the Monte Carlo check; 0 for none.
    **assumed
        The lengths of readings as numbers [mm]; `u_diameter_mm`, `u_plate_radius_mm`; and what
        is assumed of the bench: `u_plate_form_nm`, `u_axial_k`, `u_pieces_k`, `glass`,
        `thickness` (of the thinner piece).

    Returns
    -------
    dict of Budget
        By result: `power` [fringe], and with the lengths `radius difference` and `work
        radius` [mm]; of each its `value`, `u95`, and `rows`, the largest contribution first.

    Raises
    ------
    BadInput
        If nothing was measured, the readings contradict each other, or what is said does not
        belong to readings or to a surface.

    Examples
    --------
    >>> import fringe
    >>> shown = fringe.render("contact.png", power=3.5, tilt=2, size="500", seed=7)
    >>> reading = fringe.read("contact.png", lamp="sodium", sense="centre")
    >>> found = fringe.budget(reading, diameter="150mm", plate_radius="3048mm",
    ...                       u_plate_radius_mm=0.3)
    >>> list(found)
    ['power', 'radius difference', 'work radius']
    >>> found["work radius"].rows[0].input.name
    'plate radius'
    """
    from fringe.api.budgets import of_readings, of_surface
    from fringe.orders.reading import Reading

    if not of:
        raise BadInput("budget: give a reading, or a surface")
    readings = [one for one in of if isinstance(one, Reading)]
    if len(readings) == len(of):
        if visit is not None:
            raise BadInput("visit: belongs to a surface, not to readings")
        return of_readings(readings, (diameter, chamfer), plate_radius, work, assumed, trials)
    said = (diameter, chamfer, plate_radius)
    if len(of) > 1 or any(one is not None for one in said) or work != "convex":
        raise BadInput("budget: give readings, or one surface alone, whose record has its sizes")
    assert not isinstance(of[0], Reading)
    return of_surface(of[0], visit, assumed, trials)
