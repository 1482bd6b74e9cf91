"""Whose error is it? One piece turned on the other, read again, and both forms told apart.

With the work turned by an angle, its form turns and the plate's stays: the gap of position k is
plate + work turned by that angle. Where the plate is turned, its form turns and the work's stays.
In Zernike terms each azimuthal frequency m stands by itself: the pair (cosine, sine) of a piece
turns by m times its angle, so two positions or more determine both by least squares, except where
m times every difference of the angles between the pieces is a whole number of turns. Terms of
rotational symmetry (m = 0), power among them, turn into themselves: only their sum is known,
whatever the angles. N equal steps leave just m = N, 2N, ... of the others undetermined, which is
why five positions serve better than four. What stays with the camera, as an error of the light or
the view, is counted to the piece that was not turned.

The classical turning test; averaging over rotations is treated by Evans and Kestner, "Test optics
error removal", Applied Optics 35 (1996) 1015 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.optics.form import form_quantities
from fringe.optics.local_terms import broad_places, is_local, without_patches
from fringe.optics.zernike import Term, turn_matrix
from fringe.orders.form_intervals import FormIntervals, form_intervals
from fringe.orders.reading import FormFit, Reading

Array = NDArray[np.float64]
# least sine of half the angle by which a term turns, for it to be told apart: below it noise
# would be amplified tenfold
_LEAST_TURN = 0.1


@dataclass(frozen=True)
class TurnedForms:
    """Forms of work and plate, told apart as far as turning can.

    Both count as they add to the gap, in fringes of the readings' light, and over the work's
    aperture in the frame of the photographs, each as it lay at angle zero.

    Attributes
    ----------
    work, plate : FormFit
        Terms that turn and were told apart, with their covariance [fringe, fringe^2].
    symmetric : FormFit
        Terms of rotational symmetry: the sum of both pieces'.
    undetermined : tuple of int
        Azimuthal frequencies that these angles cannot tell apart; they are in neither form.
    work_figures, plate_figures : FormIntervals
        Irregularity and its like of the two.
    chi2, dof : float, int
        Of the fit: far over `dof`, the pieces changed between the positions.
    """

    work: FormFit
    plate: FormFit
    symmetric: FormFit
    undetermined: tuple[int, ...]
    work_figures: FormIntervals
    plate_figures: FormIntervals
    chi2: float
    dof: int

    @property
    def agrees(self) -> bool:
        """Whether the positions agree with two forms that do not change."""
        return self.chi2 <= self.dof + 4 * math.sqrt(2 * self.dof)

    def to_json(self) -> dict[str, object]:
        """Return the forms and their figures under their names."""
        return {
            "work": _json(self.work, self.work_figures),
            "plate": _json(self.plate, self.plate_figures),
            "symmetric": _json(self.symmetric, None),
            "undetermined_frequencies": list(self.undetermined),
            "chi2": self.chi2,
            "dof": self.dof,
            "agrees": self.agrees,
        }


def turned_forms(
    readings: Sequence[Reading],
    angles_deg: Sequence[float],
    plate_angles_deg: Sequence[float] | None = None,
) -> TurnedForms:
    """Tell the forms of work and plate apart from readings with one of them turned.

    Parameters
    ----------
    readings : sequence of Reading
        One a position, of one lamp, each with a form and all with the contact in one place.
    angles_deg : sequence of float
        By how much the work was turned, from +x toward +y of the photographs: clockwise as they
        are seen [degree].
    plate_angles_deg : sequence of float, optional
        By how much the plate was turned, likewise; not at all otherwise.

    Returns
    -------
    TurnedForms

    Raises
    ------
    BadInput
        If there are fewer than two positions, a reading has no form, lamps or contacts differ, or
        the angles between the pieces are all alike.
    """
    of_plate_deg = [0.0] * len(angles_deg) if plate_angles_deg is None else plate_angles_deg
    between = _angles_between(readings, angles_deg, of_plate_deg)
    forms = [_broad(one.form) for one in readings if one.form is not None]
    terms = tuple(term for term in forms[0].terms if term[0] >= 2)
    if any(set(terms) - set(form.terms) for form in forms):
        raise BadInput("turning test: the readings have different terms of form")
    frequencies = sorted({abs(m) for _, m in terms} - {0})
    lost = tuple(m for m in frequencies if not _told_apart(m, between))
    seen = np.concatenate([_values(form, terms) for form in forms])
    covariance = _block_diagonal([_covariance(form, terms) for form in forms])
    design = np.vstack(
        [
            np.hstack([turn_matrix(terms, math.radians(angle)) for angle in both])
            for both in zip(angles_deg, of_plate_deg, strict=True)
        ]
    )
    # what turning cannot tell apart is left as one: the work's part of it is set to zero
    lumped = [m == 0 or abs(m) in lost for _, m in terms]
    free = np.array([*(not one for one in lumped), *(True for _ in terms)])
    design = design[:, free]
    # a little noise keeps coefficients that no photograph determines from spoiling the rest
    weight = np.linalg.inv(covariance + 1e-12 * np.trace(covariance) * np.eye(len(seen)))
    normal = design.T @ weight @ design
    found_covariance = np.linalg.inv(normal)
    found = found_covariance @ design.T @ weight @ seen
    rest = seen - design @ found
    count = int(free[: len(terms)].sum())
    turning = [term for term, one in zip(terms, lumped, strict=True) if not one]
    of_plate = [i for i, one in enumerate(lumped) if not one]
    of_sum = [i for i, (_, m) in enumerate(terms) if m == 0]

    def part(terms_: Sequence[Term], places: Sequence[int]) -> FormFit:
        rows = np.array(places, dtype=int)
        return FormFit(tuple(terms_), found[rows], found_covariance[np.ix_(rows, rows)])

    work = part(turning, range(count))
    plate = part(turning, [count + i for i in of_plate])
    return TurnedForms(
        work=work,
        plate=plate,
        symmetric=part([terms[i] for i in of_sum], [count + i for i in of_sum]),
        undetermined=lost,
        work_figures=figures_of(work),
        plate_figures=figures_of(plate),
        chi2=float(rest @ weight @ rest),
        dof=len(seen) - design.shape[1],
    )


def _angles_between(
    readings: Sequence[Reading], angles_deg: Sequence[float], plate_angles_deg: Sequence[float]
) -> Array:
    """Angles from the plate to the work, shape (K,) [rad]; refuse what tells nothing."""
    for angles in (angles_deg, plate_angles_deg):
        if len(readings) != len(angles):
            raise BadInput(
                f"turning test: {len(angles)} angles for {len(readings)} photographs; give one each"
            )
    if len(readings) < 2:
        raise BadInput("turning test: one position tells nothing; give two or more, better five")
    if any(one.form is None for one in readings):
        raise BadInput("turning test: a reading has no form; rings without an edge have none")
    if len({round(one.wavelength_nm, 4) for one in readings}) > 1:
        raise BadInput("turning test: the photographs are of different lamps; take those of one")
    if len({one.sense for one in readings}) > 1:
        raise BadInput(
            "turning test: the contact is not in the same place in all; say it with --sense"
        )
    between = np.radians(np.subtract(angles_deg, plate_angles_deg))
    if not np.isfinite(between).all() or not _told_apart(1, between):
        raise BadInput(
            "turning test: the work was hardly turned on the plate; turn it by 30 degrees or more"
        )
    return np.asarray(between)


def _told_apart(frequency: int, angles: Array) -> bool:
    """Whether terms of a frequency turn against each other between any two positions."""
    turns = frequency * (angles[:, None] - angles[None, :])
    return bool(np.abs(np.sin(turns / 2)).max() >= _LEAST_TURN)


def _broad(form: FormFit) -> FormFit:
    """The form on the terms that every reading has: a turn mixes no others."""
    if not any(map(is_local, form.terms)):
        return form
    terms, shared = without_patches(form.terms)
    kept = broad_places(terms)
    return FormFit(
        tuple(terms[k] for k in kept),
        (shared @ form.values)[kept],
        (shared @ form.covariance @ shared.T)[np.ix_(kept, kept)],
    )


def _values(form: FormFit, terms: Sequence[Term]) -> Array:
    return form.values[[form.terms.index(term) for term in terms]]


def _covariance(form: FormFit, terms: Sequence[Term]) -> Array:
    places = [form.terms.index(term) for term in terms]
    return form.covariance[np.ix_(places, places)]


def _block_diagonal(blocks: Sequence[Array]) -> Array:
    from scipy.linalg import block_diag

    return np.asarray(block_diag(*blocks))


def figures_of(form: FormFit) -> FormIntervals:
    """Figures of a form, in the unit of its values, with their uncertainty."""
    quantities = form_quantities(form.terms, form.values)
    return form_intervals(form.terms, form.values, form.covariance, quantities)


def _json(form: FormFit, figures: FormIntervals | None) -> dict[str, object]:
    values: dict[str, object] = {
        "terms": [list(term) for term in form.terms],
        "coefficients_fringes": form.values.tolist(),
        "u_fringes": np.sqrt(np.diag(form.covariance)).tolist(),
    }
    if figures is not None:
        values |= {
            "irregularity_fringes": figures.irregularity,
            "irregularity_u95_fringes": figures.irregularity_u95,
            "rms_irregularity_fringes": figures.rms,
            "rms_irregularity_u95_fringes": figures.rms_u95,
            "astigmatism_fringes": figures.astigmatism,
            "astigmatism_u95_fringes": figures.astigmatism_u95,
        }
    return values
