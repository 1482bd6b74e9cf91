"""The result of reading fringes: values with uncertainty, quality and warnings."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.optics.feature import FormFeature
from fringe.orders.lengths import Lengths, radius_difference, wavelength_of
from fringe.photo.ellipse import Edge
from fringe.quantity import Quantity, Source, standard_if_any

# the source of an uncertainty whose sources were not recorded
UNKNOWN_SOURCE = "reading"
# Share of the aperture that was used, below which no part of the form is named: zones that the
# fit does not follow pass for dirt, and are misread (ours, no source)
LEAST_NAMED = 0.9
# a name that starts with a SHA-256: of the photograph, or of a burst's first frame
_DIGEST = re.compile(r"[0-9a-f]{64}\b")


@dataclass(frozen=True)
class Quality:
    """How far the photograph supports the reading.

    Attributes
    ----------
    contrast : float
        Median fringe contrast over what was used, 0 to 1.
    used_fraction : float
        Share of the aperture (or of the field, without an edge) that was used.
    residual : float
        Root mean square of what the fit leaves, as a share of the fringe amplitude.
        These three are not a number for what was seen by eye, and null in JSON.
    warnings : tuple of str
        Each names its reason; empty when there is nothing to say.
    """

    contrast: float
    used_fraction: float
    residual: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class FormFit:
    """Fitted gap over the unit disc, as at normal view.

    Attributes
    ----------
    terms : tuple of (int, int)
        Zernike indices (n, m), m < 0 for sines; unit peak at the rim (unnormalised).
    values : ndarray, shape (T,)
        Coefficients [fringe]. The sign is that of the reading's sense; for sense `unknown`
        it is such that the power is not negative.
    covariance : ndarray, shape (T, T)
        Covariance of the coefficients [fringe^2], fit and edge together.
    """

    terms: tuple[tuple[int, int], ...]
    values: NDArray[np.float64]
    covariance: NDArray[np.float64]


@dataclass(frozen=True)
class RingFit:
    """Rings fitted about their own centre: r^2 = intercept + step * order.

    Attributes
    ----------
    cx, cy : float
        Centre of the rings [px].
    step_px2, step_u95_px2 : float
        Growth of r^2 a ring and its 95 % half-width [px^2].
    intercept_px2 : float
        r^2 at order zero [px^2]; positive when the contact is pressed flat.
    orders, radii_px : ndarray, shape (K,)
        Order and radius of each dark ring that was found.
    """

    cx: float
    cy: float
    step_px2: float
    step_u95_px2: float
    intercept_px2: float
    orders: NDArray[np.float64]
    radii_px: NDArray[np.float64]


@dataclass(frozen=True)
class Reading:
    """One reading of contact fringes; lengths in the units of their names.

    `None` stands where a quantity does not apply. Power is over `edge`, as at normal
    view, positive when the contact is at the centre; its magnitude when the sense is
    unknown. The names are those of `fringe read --json`.
    """

    wavelength_nm: float
    quality: Quality
    power_fringes: float | None = None
    power_u95_fringes: float | None = None
    sense: str = "unknown"
    sense_source: str | None = None
    tilt_fringes: float | None = None
    astigmatism_fringes: float | None = None
    astigmatism_u95_fringes: float | None = None
    irregularity_fringes: float | None = None
    irregularity_u95_fringes: float | None = None
    symmetric_irregularity_fringes: float | None = None
    symmetric_irregularity_u95_fringes: float | None = None
    rms_irregularity_fringes: float | None = None
    rms_irregularity_u95_fringes: float | None = None
    iso10110: str | None = None
    rings: int | None = None
    ring_step_px2: float | None = None
    ring_step_u95_px2: float | None = None
    effective_radius_mm: float | None = None
    radius_difference_mm: float | None = None
    radius_difference_u95_mm: float | None = None
    edge: Edge | None = None
    edge_source: str | None = None
    # of a burst: how many frames, and each one's step against the first, modulo one
    frames: int | None = None
    steps_fringes: tuple[float, ...] | None = None
    form: FormFit | None = field(default=None, repr=False)
    ring_fit: RingFit | None = field(default=None, repr=False)
    # standard uncertainties [fringe] of power by contribution: `fit`, `edge`, `view`, ...
    power_u_parts: dict[str, float] = field(default_factory=dict, repr=False)
    # where a plate's map was taken out: its name, and its uncertainty's share of the variance of
    # `irregularity`, `rms_irregularity`, ...
    plate_map: str = field(default="", repr=False)
    plate_map_shares: dict[str, float] = field(default_factory=dict, repr=False)
    # whose errors these are: digest of the photograph; readings of one name err together
    reading_id: str = field(default="", repr=False, compare=False)
    lamp: str = field(default="", repr=False, compare=False)
    u_wavelength_nm: float = field(default=0.0, repr=False, compare=False)
    lengths: Lengths | None = field(default=None, repr=False, compare=False)
    # radius of the plate and diameter of the aperture [mm]: the exact shape of a sphere
    sphere_mm: tuple[float, float] | None = field(default=None, repr=False, compare=False)

    @property
    def photograph(self) -> str:
        """Digest of the photograph that it was read from; empty where that is not known."""
        return self.reading_id if _DIGEST.match(self.reading_id) else ""

    @cached_property
    def wavelength(self) -> Quantity:
        """Wavelength of the lamp in air [nm]."""
        return wavelength_of(self.wavelength_nm, self.u_wavelength_nm, self.lamp)

    @cached_property
    def power(self) -> Quantity | None:
        """Power in the lamp's own fringes, by its sources; None without an uncertainty."""
        if self.power_fringes is None:
            return None
        parts = self.power_u_parts
        if not parts and self.power_u95_fringes is not None:
            parts = {UNKNOWN_SOURCE: standard_if_any(self.power_u95_fringes) or 0.0}
        if not parts:
            return None
        named = {Source(what, self.reading_id): u for what, u in parts.items()}
        return Quantity.of(self.power_fringes, "fringes", named)

    @cached_property
    def irregularity(self) -> Quantity | None:
        """Irregularity (B) in the lamp's own fringes; None without an uncertainty."""
        return self.figure("irregularity")

    def figure(self, name: str) -> Quantity | None:
        """A figure of the form by its sources [fringe]; None without an uncertainty.

        What the plate's map does not know is one error of all readings that it was taken out of.

        Parameters
        ----------
        name : str
            `irregularity`, `symmetric_irregularity`, `rms_irregularity` or `astigmatism`.
        """
        value, u95 = getattr(self, f"{name}_fringes"), getattr(self, f"{name}_u95_fringes")
        u = standard_if_any(u95)
        if value is None or u is None:
            return None
        share = self.plate_map_shares.get(name, 0.0)
        parts = {
            Source("form", self.reading_id): math.sqrt(1 - share) * u,
            Source("plate_map", self.plate_map): math.sqrt(share) * u,
        }
        return Quantity.of(value, "fringes", parts)

    @cached_property
    def features(self) -> tuple[FormFeature, ...]:
        """Zones, turned edges, holes and astigmatism that the form proves, the highest first."""
        proven = form_is_proven(
            self.irregularity_fringes,
            self.irregularity_u95_fringes,
            self.quality.used_fraction,
        )
        if self.form is None or not proven:
            return ()
        from fringe.optics.form_features import form_features

        radius_mm, diameter_mm = self.sphere_mm or (None, None)
        return form_features(
            self.form.terms,
            self.form.values,
            self.form.covariance,
            wavelength_nm=self.wavelength_nm,
            signed=self.sense in ("centre", "edge"),
            radius_mm=radius_mm,
            diameter_mm=diameter_mm,
        )

    @cached_property
    def radius_difference(self) -> Quantity | None:
        """R_work - R_plate by its sources [mm]; a magnitude where the sense is unknown."""
        if self.power is not None and self.lengths is not None:
            found = radius_difference(self.power, self.lengths)
            return abs(found) if self.sense == "unknown" else found
        u = standard_if_any(self.radius_difference_u95_mm)
        if self.radius_difference_mm is None or u is None:
            return None
        source = Source(UNKNOWN_SOURCE, self.reading_id)
        return Quantity.of(self.radius_difference_mm, "mm", {source: u})

    def warned(self, *texts: str) -> Reading:
        """The reading with warnings added to it."""
        warnings = (*self.quality.warnings, *texts)
        return replace(self, quality=replace(self.quality, warnings=warnings))

    def to_json(self) -> dict[str, object]:
        """Return the keys and values that `fringe read --json` prints."""
        edge = self.edge
        values: dict[str, Any] = {
            name: getattr(self, name)
            for name in (
                "power_fringes",
                "power_u95_fringes",
                "sense",
                "sense_source",
                "wavelength_nm",
                "tilt_fringes",
                "astigmatism_fringes",
                "astigmatism_u95_fringes",
                "irregularity_fringes",
                "irregularity_u95_fringes",
                "symmetric_irregularity_fringes",
                "symmetric_irregularity_u95_fringes",
                "rms_irregularity_fringes",
                "rms_irregularity_u95_fringes",
                "iso10110",
                "rings",
                "ring_step_px2",
                "ring_step_u95_px2",
                "effective_radius_mm",
                "radius_difference_mm",
                "radius_difference_u95_mm",
            )
        }
        values["edge"] = edge and {
            "cx": edge.cx,
            "cy": edge.cy,
            "a": edge.a,
            "b": edge.b,
            "angle_deg": edge.angle_deg,
        }
        values["form"] = None if self.form is None else [one.to_json() for one in self.features]
        values["edge_source"] = self.edge_source
        values["frames"] = self.frames
        values["steps_fringes"] = self.steps_fringes and list(self.steps_fringes)
        values["quality"] = {
            **{
                name: None if math.isnan(value) else value
                for name, value in vars(self.quality).items()
                if name != "warnings"
            },
            "warnings": list(self.quality.warnings),
        }
        return values


def form_is_proven(irregularity: float | None, u95: float | None, used: float | None) -> bool:
    """Whether a reading proves any form beside power: else no part of it has a name.

    Parameters
    ----------
    irregularity, u95 : float or None
        Irregularity and the half-width of its 95 % interval [fringe].
    used : float or None
        Share of the aperture that was used: what the fit does not follow, it may misread.
    """
    followed = used is None or not used < LEAST_NAMED
    return followed and irregularity is not None and irregularity > (u95 or 0.0)
