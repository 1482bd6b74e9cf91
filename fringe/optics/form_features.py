"""Zones, turned edges, holes and astigmatism: a fitted form named as an optician names it.

The symmetric form is explained by a sphere and as few features as it asks for: a zone is a ring
that stands above or below the sphere through the rest (a Gaussian about a share of the radius), a
turned edge a power of the distance from where it begins, a hole or a raised centre a Gaussian
about the middle. A feature is named only where the form cannot be explained without it: where it
lessens chi^2, by the covariance of the fitted coefficients and by what the best explanation
leaves, by more than noise does in one form of thousands.

Heights are those of the work. The gap is larger where the work is low, whether the work is the
convex or the concave piece; where the sense of the contact is unknown, so is the sign of all
heights.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fringe.optics.feature import FormFeature
from fringe.optics.form_search import Search
from fringe.optics.form_shapes import nodes, projection, shapes
from fringe.optics.patches import is_patch
from fringe.optics.spheres import sphere_form
from fringe.optics.zernike import Term
from fringe.quantity import half_width

Array = NDArray[np.float64]
# chi^2 of two degrees of freedom that noise passes once in ten thousand forms
_CLEAR_ASTIGMATISM = 18.4
_UNLIKE = (
    0.05  # root mean square of what real zones are unlike the shapes, as a share of the form's
)
_MOST_DEGREE = 100  # of terms that any fit has
_MOST_OTHER = 1.0  # form of other angles, over astigmatism, above which it is no astigmatism


def form_features(
    terms: Sequence[Term],
    values: Array,
    covariance: Array,
    *,
    wavelength_nm: float,
    signed: bool,
    radius_mm: float | None = None,
    diameter_mm: float | None = None,
) -> tuple[FormFeature, ...]:
    """Name what a fitted gap proves of the work's form.

    Parameters
    ----------
    terms : sequence of (n, m), length T
        Zernike indices.
    values : ndarray, shape (T,)
        Coefficients of the gap [fringe].
    covariance : ndarray, shape (T, T)
        Of the coefficients, with every doubt in it [fringe^2].
    wavelength_nm : float
        Wavelength that fringes are counted in [nm].
    signed : bool
        Whether the sense is known, so that the gap has the sign that it has in truth.
    radius_mm, diameter_mm : float, optional
        Take out the exact shape of a sphere of this radius over this aperture [mm].

    Returns
    -------
    tuple of FormFeature
        The highest first; empty where nothing is proven, or where no fit can have given
        these terms and this covariance.
    """
    terms = tuple((int(n), int(m)) for n, m in terms)
    work = -np.asarray(values, dtype=float)
    covariance = np.asarray(covariance, dtype=float)
    if any(map(is_patch, terms)):  # a local bump is no zone, though its mean round the disc is one
        kept = [k for k, term in enumerate(terms) if not is_patch(term)]
        terms = tuple(terms[k] for k in kept)
        work, covariance = work[kept], covariance[np.ix_(kept, kept)]
    sound = all(0 <= abs(m) <= n <= _MOST_DEGREE and (n - m) % 2 == 0 for n, m in terms)
    finite = np.isfinite(work).all() and np.isfinite(covariance).all()
    if not (sound and finite and (np.diag(covariance) >= 0).all()):
        return ()
    rounds = _without_sphere(terms, work, radius_mm, diameter_mm)
    try:
        found = [
            *_round_features(terms, rounds, covariance),
            *_astigmatism(terms, work, covariance),
        ]
    except np.linalg.LinAlgError:  # no covariance that a fit would give
        return ()
    named = (
        FormFeature(**each, wavelength_nm=wavelength_nm, signed=signed)  # type: ignore[arg-type]
        for each in found
    )
    return tuple(sorted(named, key=lambda one: -abs(one.height_fringes)))


def _without_sphere(
    terms: tuple[Term, ...], work: Array, radius_mm: float | None, diameter_mm: float | None
) -> Array:
    """Take out of a steep sphere what is not rho^2, which leaves it among the higher terms."""
    if radius_mm is None or diameter_mm is None or (2, 0) not in terms:
        return work
    rho, _ = nodes()
    shape = projection(terms) @ sphere_form(rho, 0.0 * rho, radius_mm, diameter_mm)
    place = terms.index((2, 0))
    rounds = [i for i, (_, m) in enumerate(terms) if m == 0]
    made = work.copy()
    made[rounds] -= work[place] / shape[rounds.index(place)] * shape
    return made


def _round_features(
    terms: tuple[Term, ...], work: Array, covariance: Array
) -> list[dict[str, object]]:
    """Zones, edge and centre, by generalised least squares of the terms that no sphere has."""
    kept = [i for i, (n, m) in enumerate(terms) if m == 0 and n > 2]
    if not kept:
        return []
    seen, doubt = work[kept], covariance[np.ix_(kept, kept)]
    scale = float(np.sqrt(np.trace(doubt) / len(kept)))
    if not scale > 0:
        scale = 1e-9 * float(np.abs(seen).max()) or 1.0
    weight = np.array([1 / (terms[i][0] + 1) for i in kept])
    # no real zone has just one of the shapes: what a good fit knows better than that must not
    # decide between them
    shape = _UNLIKE**2 * float(weight @ seen**2) / (weight * len(kept))
    doubt = doubt + np.diag(shape + (1e-3 * scale) ** 2)
    root = np.asarray(np.linalg.cholesky(doubt), float)
    search = Search(shapes(terms), seen, root, weight)
    return search.described()


def _astigmatism(
    terms: tuple[Term, ...], work: Array, covariance: Array
) -> list[dict[str, object]]:
    """Astigmatism with its axis, where it is proven and most of what is not round."""
    if (2, 2) not in terms or (2, -2) not in terms:
        return []
    pair = [terms.index((2, 2)), terms.index((2, -2))]
    seen, doubt = work[pair], covariance[np.ix_(pair, pair)]
    scale = float(np.trace(doubt)) or 1e-18
    doubt = doubt + 1e-6 * scale * np.eye(2)
    if seen @ np.linalg.solve(doubt, seen) < _CLEAR_ASTIGMATISM:
        return []
    others = [i for i, (n, m) in enumerate(terms) if m != 0 and n > 1 and i not in pair]
    # mean square over the disc of an unnormalised term is 1 / (2 n + 2)
    share = np.array([1 / (2 * terms[i][0] + 2) for i in others])
    expected = float(share @ np.diag(covariance)[others])
    rest = max(0.0, float(share @ work[others] ** 2) - expected)
    size = float(np.hypot(*seen))
    if rest > _MOST_OTHER * size**2 / 6:
        return []
    along = seen / size
    u = math.sqrt(float(along @ doubt @ along))
    across = np.array([-along[1], along[0]])
    u_angle = math.degrees(math.sqrt(float(across @ doubt @ across)) / size / 2)
    # peak to valley is twice the amplitude, and noise adds to it in quadrature (Rice)
    noise = float(across @ doubt @ across)
    return [
        {
            "kind": "astigmatism",
            "height_fringes": 2 * math.sqrt(max(size**2 - noise, 0.0)),
            "height_u95_fringes": half_width(2 * u),
            "axis_deg": math.degrees(math.atan2(seen[1], seen[0])) / 2 % 180,
            "axis_u95_deg": min(half_width(u_angle), 90.0),
        }
    ]
