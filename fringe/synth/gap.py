"""The gap of a scene, over the unit disc and over the pixels of a photograph."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import polynomial as poly
from numpy.typing import ArrayLike, NDArray

from fringe.optics import view
from fringe.optics.spheres import sphere_form
from fringe.optics.zernike import zernike_sum
from fringe.synth.scene import Form, Scene

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class GapModel:
    """The gap over the unit disc, ready to be evaluated.

    Attributes
    ----------
    scene : Scene
        What it was made from.
    coefficients : ndarray, shape (K, K)
        Polynomial c[i, j] u^i v^j [fringe] of tilt, paraxial sphere and Zernike terms.
    piston : float
        Constant [fringe] that brings the smallest gap to the scene's `min_gap_nm`.
    """

    scene: Scene
    coefficients: Floats
    piston: float

    def fringes(self, u: ArrayLike, v: ArrayLike) -> Floats:
        """Gap [fringe of the lamp's mean wavelength] at points of the unit disc, any shape."""
        uu, vv = np.asarray(u, float), np.asarray(v, float)
        return self._floor(poly.polyval2d(uu, vv, self.coefficients) + self._extras(uu, vv))

    def nm(self, u: ArrayLike, v: ArrayLike) -> Floats:
        """Gap along the plate's normal [nm] at points of the unit disc."""
        return self.fringes(u, v) * (self.scene.lamp.wavelength_nm / 2)

    def opd_nm(self, u: ArrayLike, v: ArrayLike) -> Floats:
        """Path difference 2 h cos(theta) [nm] that the camera sees at points of the disc."""
        return 2 * self.nm(u, v) * cos_view(self.scene, u, v)

    def grid_opd_nm(self, x: Floats, y: Floats) -> Floats:
        """Path difference [nm] over a grid of the photograph.

        Parameters
        ----------
        x : ndarray, shape (N,)
        y : ndarray, shape (M,)
            Pixel coordinates.

        Returns
        -------
        ndarray, shape (M, N)
            Beyond the rim the gap is continued.
        """
        edge = self.scene.edge
        if self.scene.boost or self._has_extras():
            u, v = edge.unit(*np.meshgrid(x, y))
            u, v = unboost(self.scene, u, v)
            fringes = np.asarray(
                poly.polyval2d(u, v, self.coefficients) + self._extras(u, v), float
            )
            return self._floor(fringes) * self.scene.lamp.wavelength_nm * cos_view(self.scene, u, v)
        # an affine view of a polynomial is a polynomial: two matrix products do the grid
        grid = _affine(self.coefficients, *_unit_matrix(self.scene))
        fringes = _polygrid(grid, (x - edge.cx) / edge.a, (y - edge.cy) / edge.a)
        opd = self._floor(fringes) * self.scene.lamp.wavelength_nm
        if self.scene.camera_distance_mm is None:
            return opd * math.cos(math.radians(self.scene.view_angle_deg))
        return opd * cos_view(self.scene, *edge.unit(*np.meshgrid(x, y)))

    def _floor(self, fringes: Floats) -> Floats:
        """Add the piston; where glass is pressed into glass the gap stays at its least."""
        return np.maximum(fringes + self.piston, self._least())

    def _least(self) -> float:
        return 2 * self.scene.form.min_gap_nm / self.scene.lamp.wavelength_nm

    def _has_extras(self) -> bool:
        form, exact = self.scene.form, self.scene.plate_radius_mm is not None
        local = form.turned_edge != 0 or form.zone != 0 or form.bump != 0
        return exact or local or form.pressed_radius > 0

    def _extras(self, u: Floats, v: Floats) -> Floats | float:
        """The parts that are not polynomial: exact sphere less rho^2, edge, zone, bump, disc."""
        scene, form = self.scene, self.scene.form
        extra: Floats | float = 0.0
        if not self._has_extras():
            return extra
        rho = np.hypot(u, v)
        if scene.plate_radius_mm is not None and scene.diameter_mm is not None:
            inside = np.minimum(rho, 1.0)
            exact = sphere_form(inside, 0.0 * inside, scene.plate_radius_mm, scene.diameter_mm)
            extra = form.power * (exact - inside**2)
        if form.turned_edge:
            start = 1 - form.turned_edge_width
            ramp = np.clip((rho - start) / form.turned_edge_width, 0.0, 1.0)
            extra = extra + form.turned_edge * ramp**2
        if form.zone:
            across = (rho - form.zone_radius) / form.zone_width
            extra = extra + form.zone * np.exp(-(across**2) / 2)
        if form.bump:
            away = np.hypot(u - form.bump_place[0], v - form.bump_place[1]) / form.bump_width
            extra = extra + form.bump * np.exp(-(away**2) / 2)
        if form.pressed_radius:
            u0, v0 = vertex(form)
            distance = np.hypot(u - u0, v - v0)
            extra = extra + form.power * (pressed_gap(distance, form.pressed_radius) - distance**2)
        return extra


def gap_model(scene: Scene) -> GapModel:
    """Prepare the gap of a scene; the contact is put where the gap is smallest."""
    raw = GapModel(scene, _polynomial(scene.form), math.inf)
    least = _minimum(raw)
    return GapModel(scene, raw.coefficients, raw._least() - least)


def scene_gap_fringes(scene: Scene, u: ArrayLike, v: ArrayLike) -> Floats:
    """Gap [fringe] of a scene at points of the unit disc, as at normal view."""
    return gap_model(scene).fringes(u, v)


def cos_view(scene: Scene, u: ArrayLike, v: ArrayLike) -> Floats:
    """Cosine of the angle in the gap between ray and normal, at points of the unit disc.

    The camera's pupil lies at the scene's distance from the middle of the work, leaning
    by the view angle; 1 for a camera far above.
    """
    semi = None if scene.diameter_mm is None else scene.diameter_mm / 2
    tilt_cos = math.cos(math.radians(scene.view_angle_deg))
    return view.cos_view(u, v, semi, scene.camera_distance_mm, tilt_cos, scene.view_direction_deg)


def unboost(scene: Scene, u: Floats, v: Floats) -> tuple[Floats, Floats]:
    """Undo perspective: from disc coordinates by the rim's ellipse to those on the work.

    A disc in perspective has an ellipse for a rim, but its middle is not the ellipse's
    middle. Along the direction toward the camera the true coordinate is
    (w + b) / (1 + b w), across it sqrt(1 - b^2) / (1 + b w) times, with b = (r / L) sin(view):
    a projective map of the disc on itself.
    """
    b = scene.boost
    if b == 0:
        return u, v
    lean = math.radians(scene.view_direction_deg)
    cos, sin = math.cos(lean), math.sin(lean)
    along, across = u * cos + v * sin, v * cos - u * sin
    scale = 1 / (1 + b * along)
    along, across = (along + b) * scale, across * math.sqrt(1 - b * b) * scale
    return along * cos - across * sin, along * sin + across * cos


def pressed_gap(distance: ArrayLike, contact_radius: float) -> Floats:
    """Gap outside a disc pressed flat, for a sphere of gap r^2 on an elastic body.

    Parameters
    ----------
    distance : array_like
        From the middle of the contact, in the units of `contact_radius`.
    contact_radius : float
        a, radius of the flat disc.

    Returns
    -------
    ndarray
        0 inside, outside (2 a^2 / pi) (sqrt(s^2 - 1) + (s^2 - 2) arccos(1/s)), s = r / a;
        far out r^2 - 2 a^2. Hertz's contact (the displacement outside the contact as in
        Johnson, Contact Mechanics, 1985, ch. 3; from memory).
    """
    s = np.maximum(np.asarray(distance, float) / contact_radius, 1.0)
    rise = np.sqrt(s * s - 1) + (s * s - 2) * np.arccos(1 / s)
    return np.asarray(contact_radius**2 * (2 / math.pi) * rise)


def vertex(form: Form) -> tuple[float, float]:
    """Where sphere and tilt alone touch."""
    angle = math.radians(form.tilt_angle_deg)
    shift = -form.tilt / (2 * form.power)
    return shift * math.cos(angle), shift * math.sin(angle)


def _polynomial(form: Form) -> Floats:
    """Coefficients c[i, j] u^i v^j of tilt, rho^2 and the Zernike terms."""
    degree = max([2, *(n for (n, _), _ in form.zernike)])
    coefficients = np.zeros((degree + 1, degree + 1))
    angle = math.radians(form.tilt_angle_deg)
    coefficients[1, 0] = form.tilt * math.cos(angle)
    coefficients[0, 1] = form.tilt * math.sin(angle)
    coefficients[2, 0] = coefficients[0, 2] = form.power
    if form.zernike:
        terms, values = zip(*form.zernike, strict=True)
        coefficients += _fit_polynomial(degree, lambda u, v: zernike_sum(terms, values, u, v))
    return coefficients


def _fit_polynomial(degree: int, function: object) -> Floats:
    """Coefficients of a function that is a polynomial of that degree, from its values."""
    assert callable(function)
    nodes = np.cos((np.arange(degree + 1) + 0.5) * math.pi / (degree + 1)) / math.sqrt(2)
    u, v = np.meshgrid(nodes, nodes, indexing="ij")
    inverse = np.linalg.inv(np.vander(nodes, increasing=True))
    coefficients = inverse @ np.asarray(function(u, v)) @ inverse.T
    total = np.add.outer(np.arange(degree + 1), np.arange(degree + 1))
    return np.where(total <= degree, coefficients, 0.0)


def _unit_matrix(scene: Scene) -> tuple[Floats, Floats]:
    """Rows of the linear map from pixels (centred, in units of a) to u and to v."""
    edge = scene.edge
    (u_x, u_y), (v_x, v_y) = edge.unit(
        edge.cx + edge.a * np.array([1.0, 0.0]), edge.cy + edge.a * np.array([0.0, 1.0])
    )
    return np.array([u_x, u_y]), np.array([v_x, v_y])


def _affine(coefficients: Floats, u_row: Floats, v_row: Floats) -> Floats:
    return _fit_polynomial(
        len(coefficients) - 1,
        lambda x, y: poly.polyval2d(
            u_row[0] * x + u_row[1] * y, v_row[0] * x + v_row[1] * y, coefficients
        ),
    )


def _polygrid(coefficients: Floats, x: Floats, y: Floats) -> Floats:
    """Polynomial c[i, j] x^i y^j over a grid, shape (len(y), len(x))."""
    size = len(coefficients)
    return np.vander(y, size, increasing=True) @ (
        coefficients.T @ np.vander(x, size, increasing=True).T
    )


def _minimum(model: GapModel) -> float:
    """Least of the bare shape over the disc: a coarse polar grid, then finer round its best."""

    def shape(u: Floats, v: Floats) -> Floats:
        return np.asarray(poly.polyval2d(u, v, model.coefficients) + model._extras(u, v), float)

    rho, phi = np.meshgrid(np.linspace(0, 1, 151), np.linspace(0, 2 * math.pi, 361))
    u, v = rho * np.cos(phi), rho * np.sin(phi)
    step = 0.01
    best = math.inf
    for _ in range(4):
        values = shape(u, v)
        at = np.unravel_index(int(np.argmin(values)), values.shape)
        best = min(best, float(values[at]))
        offsets = np.linspace(-step, step, 21)
        u, v = np.meshgrid(u[at] + offsets, v[at] + offsets)
        shrink = 1 / np.maximum(np.hypot(u, v), 1.0)  # stay on the disc
        u, v = u * shrink, v * shrink
        step *= 0.12
    return best
