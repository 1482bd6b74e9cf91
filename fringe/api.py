"""The public functions: they take what a person types, and call what the commands call.

`import fringe` gives them, and loads nothing else until one of them is used. A length is text
with its unit (``"150mm"``, ``"6in"``, ``"5 3/4 in"``), a quantity of a library of units that
has ``.to("mm")``, or a number under the name that ends in `_mm`; a bare number is refused.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Protocol, TypedDict, Unpack

from fringe.errors import BadInput

if TYPE_CHECKING:
    import xarray as xr

    from fringe.archive.store.surface import Surface
    from fringe.judge.tolerance.tolerance import FormTolerance
    from fringe.judge.uncertainty.budget import Budget
    from fringe.optics.lamps import Lamp
    from fringe.orders.options import ReadOptions
    from fringe.orders.reading import Reading
    from fringe.photo.ellipse import Edge
    from fringe.photo.load import Photo
    from fringe.synth.rendering import Rendered


class Measure(Protocol):
    """A quantity with a unit, as those of pint."""

    def to(self, unit: str, /) -> Any:
        """Return the same in another unit, with its number as `magnitude`."""


Length = str | Measure
Form = Literal["convex", "concave"]
Sense = Literal["auto", "centre", "edge"]


class LengthsMm(TypedDict, total=False):
    """Lengths of a reading as numbers [mm]; `u_` are standard uncertainties."""

    diameter_mm: float
    plate_radius_mm: float
    camera_distance_mm: float
    u_diameter_mm: float
    u_plate_radius_mm: float


def read(
    photo: Photo | str | os.PathLike[str] | bytes,
    options: ReadOptions | None = None,
    *,
    lamp: str | Lamp | None = None,
    edge: str | Edge | Sequence[float] = "auto",
    diameter: Length | None = None,
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
            plate_radius=plate_radius,
            work=work,
            camera_distance=camera_distance,
            sense=sense,
            scale_px_per_mm=scale_px_per_mm,
            **in_mm,
        )
    return read_photo(_photo(photo), options)


def read_burst(
    photos: Sequence[Photo | str | os.PathLike[str] | bytes],
    options: ReadOptions | None = None,
    *,
    lamp: str | Lamp | None = None,
    edge: str | Edge | Sequence[float] = "auto",
    diameter: Length | None = None,
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
        Frames from one place, with a little press or drift between them.
    options, lamp, edge, diameter, plate_radius, work, camera_distance, sense, scale_px_per_mm
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
            plate_radius=plate_radius,
            work=work,
            camera_distance=camera_distance,
            sense=sense,
            scale_px_per_mm=scale_px_per_mm,
            **in_mm,
        )
    return read_frames([_photo(one) for one in photos], options)


def read_options(
    *,
    lamp: str | Lamp | None,
    edge: str | Edge | Sequence[float] = "auto",
    diameter: Length | None = None,
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
    return ReadOptions(
        lamp=_lamp(lamp),
        edge=_edge(edge),
        diameter_mm=_mm("diameter", diameter, in_mm.get("diameter_mm")),
        plate_radius_mm=_mm("plate_radius", plate_radius, in_mm.get("plate_radius_mm")),
        work=_word("work", work, ("convex", "concave")),
        camera_distance_mm=_mm("camera_distance", camera_distance, in_mm.get("camera_distance_mm")),
        sense=_word("sense", sense, ("auto", "centre", "edge")),
        scale_px_per_mm=scale_px_per_mm,
        u_diameter_mm=_u_mm("u_diameter_mm", in_mm.get("u_diameter_mm")),
        u_plate_radius_mm=_u_mm("u_plate_radius_mm", in_mm.get("u_plate_radius_mm")),
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
        return reading_dataset(result, _mm("diameter", diameter, None))
    return visits_dataset(result)


def budget(
    *readings: Reading,
    diameter: Length | None = None,
    plate_radius: Length | None = None,
    work: Form = "convex",
    trials: int = 0,
    **in_mm: Unpack[LengthsMm],
) -> dict[str, Budget]:
    """Say where the uncertainty of power and radius difference comes from.

    Parameters
    ----------
    *readings : Reading
        One or more of one contact, which count as their mean.
    diameter, plate_radius, work
        As of :func:`fringe.read`; with both lengths there are budgets of the radii.
    trials : int
        Draws of the Monte Carlo check; 0 for none.
    **in_mm
        As of :func:`fringe.read`.

    Returns
    -------
    dict of Budget
        By result: `power` [fringe], and with the lengths `radius difference` and `work
        radius` [mm]; of each its `value`, `u95`, and `rows`, the largest contribution first.

    Raises
    ------
    BadInput
        If no reading has a power, or the readings contradict each other.

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
    from fringe.judge.uncertainty.sources import Bench, reading_budgets

    if not readings:
        raise BadInput("budget: give a reading")
    bench = Bench(
        work=_word("work", work, ("convex", "concave")),
        diameter_mm=_mm("diameter", diameter, in_mm.get("diameter_mm")),
        u_diameter_mm=_u_mm("u_diameter_mm", in_mm.get("u_diameter_mm")),
        plate_radius_mm=_mm("plate_radius", plate_radius, in_mm.get("plate_radius_mm")),
        u_plate_radius_mm=_u_mm("u_plate_radius_mm", in_mm.get("u_plate_radius_mm")),
        u_wavelength_nm=readings[0].u_wavelength_nm,
    )
    return reading_budgets(readings, bench, trials=trials).results


def tolerance(
    *,
    radius: Length,
    diameter: Length,
    lamp: str | Lamp = "sodium",
    form: Form = "convex",
    power_fringes: float | None = None,
    irregularity_fringes: float | None = None,
    radius_tolerance: Length | None = None,
    iso10110: str | None = None,
    quarter_wave: bool = False,
) -> FormTolerance:
    """Turn a tolerance, however it is stated, into all its forms, as `fringe tolerance` does.

    Parameters
    ----------
    radius, diameter : str or quantity
        Nominal radius and aperture.
    lamp : str or Lamp
        Light that its fringes are counted in.
    form : {'convex', 'concave'}
        Of the work.
    power_fringes, irregularity_fringes : float, optional
        Allowed [fringe].
    radius_tolerance : str or quantity, optional
        Power, as a difference of the radius either way.
    iso10110 : str, optional
        A code of ISO 10110-5, as ``3/ 2(0.5)``, for power and irregularity.
    quarter_wave : bool
        Power, as a quarter wave of defocus of a mirror over its whole aperture.

    Raises
    ------
    BadInput
        If too little or too much is stated.

    Examples
    --------
    >>> import fringe
    >>> found = fringe.tolerance(power_fringes=2, radius="3048mm", diameter="150mm")
    >>> round(found.radius_difference_mm, 2)
    1.94
    """
    from fringe.judge.tolerance.stated import StatedTolerance
    from fringe.judge.tolerance.tolerance import Aperture, form_tolerance

    limits = StatedTolerance(
        power_fringes=power_fringes,
        irregularity_fringes=irregularity_fringes,
        radius_tolerance_mm=_mm("radius_tolerance", radius_tolerance, None),
        iso10110=iso10110,
        quarter_wave=quarter_wave,
    )
    radius_mm, diameter_mm = _mm("radius", radius, None), _mm("diameter", diameter, None)
    if radius_mm is None or diameter_mm is None:
        raise BadInput("tolerance: give radius and diameter of the aperture")
    aperture = Aperture(
        radius_mm,
        diameter_mm,
        _lamp(lamp).wavelength_nm,
        _word("form", form, ("convex", "concave")),
    )
    return form_tolerance(limits.limits(), aperture)


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


def render(
    out: str | os.PathLike[str] | None = None,
    *,
    seed: int | None = None,
    family: str | None = None,
    power: float | None = None,
    tilt: float | None = None,
    sense: Literal["centre", "edge"] | None = None,
    astigmatism: float | None = None,
    spherical: float | None = None,
    lamp: str | None = None,
    size: str | None = None,
    diameter: Length | None = None,
    plate_radius: Length | None = None,
    work: Form | None = None,
    camera_distance: Length | None = None,
    noise: float | None = None,
    dust: int | None = None,
) -> Rendered:
    """Render a photograph of fringes with known truth, as `fringe synth` does.

    Parameters
    ----------
    out : str or path, optional
        A .jpg, .png or .tif to write; its truth goes to the same name with .json.
    seed : int, optional
        Of all that is drawn: the same seed gives the same picture. A new one otherwise.
    family : str, optional
        Draw a whole scene of this kind first, as `easy` or `dirty`.
    power, tilt, astigmatism, spherical : float, optional
        Fringes; power is positive for contact at the centre.
    sense : {'centre', 'edge'}, optional
        Where the contact is; gives the power its sign.
    lamp, size, work, noise, dust, diameter, plate_radius, camera_distance
        As of `fringe synth --help`.

    Returns
    -------
    Rendered
        `image`, an array of shape (M, N, 3) or (M, N), and `truth`.

    Raises
    ------
    BadInput
        For values out of range, or a file that cannot be written.

    Examples
    --------
    >>> import fringe
    >>> fringe.render(power=-2, size="300", seed=1).truth["sense"]
    'edge'
    """
    import secrets

    from fringe.synth.files import save
    from fringe.synth.rendering import render as render_scene
    from fringe.synth.request import Request, request_scene

    request = Request(
        seed=secrets.randbelow(2**31) if seed is None else seed,
        family=family,
        power=power,
        tilt=tilt,
        sense=sense,
        astigmatism=astigmatism,
        spherical=spherical,
        lamp=lamp,
        size=size,
        diameter_mm=_mm("diameter", diameter, None),
        plate_radius_mm=_mm("plate_radius", plate_radius, None),
        work=work,
        camera_distance_mm=_mm("camera_distance", camera_distance, None),
        noise=noise,
        dust=dust,
    )
    made = render_scene(request_scene(request), request.seed)
    if out is not None:
        save(made, Path(out))
    return made


def _photo(given: Photo | str | os.PathLike[str] | bytes) -> Photo:
    from fringe.photo.load import Photo, load_photo, photo_from_bytes

    if isinstance(given, Photo):
        return given
    if isinstance(given, bytes):
        return photo_from_bytes(given, "photograph")
    return load_photo(Path(given))


def _lamp(given: str | Lamp | None) -> Lamp:
    from fringe.optics.lamps import lamp

    if given is None:
        raise BadInput("lamp: give its name, as lamp='sodium'; `fringe lamps` lists them")
    return lamp(given) if isinstance(given, str) else given


def _edge(given: str | Edge | Sequence[float]) -> str | Edge:
    from fringe.photo.edge_text import edge_from_text
    from fringe.photo.ellipse import Edge

    if isinstance(given, Edge):
        return given
    text = given if isinstance(given, str) else ",".join(str(float(one)) for one in given)
    return edge_from_text(text, "edge")


def _word(what: str, given: str, words: Sequence[str]) -> str:
    if given not in words:
        raise BadInput(f"{what}: {given!r} is none of {', '.join(words)}")
    return given


def _mm(what: str, typed: Length | None, number: float | None) -> float | None:
    """Take a length in either of its two ways [mm]."""
    from fringe.units import positive_length_mm

    if typed is None:
        return None if number is None else positive_length_mm(f"{float(number)}mm", f"{what}_mm")
    if number is not None:
        raise BadInput(f"{what}: is given twice, as {what}_mm too; leave one of them out")
    if isinstance(typed, str):
        return positive_length_mm(typed, what)
    if not hasattr(typed, "to"):
        raise BadInput(f"{what}: {typed!r} has no unit; write {what}='{typed}mm'")
    try:
        millimetres = float(typed.to("mm").magnitude)
    except Exception as error:  # each library of units has its own errors
        raise BadInput(f"{what}: {typed} is no length") from error
    return positive_length_mm(f"{millimetres!r}mm", what)


def _u_mm(what: str, number: float | None) -> float:
    """Take a standard uncertainty [mm]; 0 where none is known."""
    if number is None:
        return 0.0
    if not 0 <= number < float("inf"):
        raise BadInput(f"{what}: {number!r} is no uncertainty; it is 0 or more")
    return float(number)
