"""Before there is a photograph: tolerances in all their forms, and rendered fringes."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fringe.api.typed import (
    FORMS,
    Form,
    Length,
    to_lamp,
    to_mm,
    to_word,
)
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.judge.tolerance.tolerance import FormTolerance
    from fringe.optics.lamps import Lamp
    from fringe.synth.rendering import Rendered


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
        radius_tolerance_mm=to_mm("radius_tolerance", radius_tolerance, None),
        iso10110=iso10110,
        quarter_wave=quarter_wave,
    )
    radius_mm, diameter_mm = to_mm("radius", radius, None), to_mm("diameter", diameter, None)
    if radius_mm is None or diameter_mm is None:
        raise BadInput("tolerance: give radius and diameter of the aperture")
    aperture = Aperture(
        radius_mm,
        diameter_mm,
        to_lamp(lamp).wavelength_nm,
        to_word("form", form, FORMS),
    )
    return form_tolerance(limits.limits(), aperture)


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
        diameter_mm=to_mm("diameter", diameter, None),
        plate_radius_mm=to_mm("plate_radius", plate_radius, None),
        work=work,
        camera_distance_mm=to_mm("camera_distance", camera_distance, None),
        noise=noise,
        dust=dust,
    )
    made = render_scene(request_scene(request), request.seed)
    if out is not None:
        save(made, Path(out))
    return made
