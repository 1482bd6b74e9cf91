"""A plate's form from several turning tests: their weighted mean, and whether they agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.judge.uncertainty.evidence import IMPROBABLE, birge_ratio
from fringe.orders.plate_map import PlateMap
from fringe.orders.reading import FormFit

# circles whose diameters differ by less are one, relative (ours, no source)
_ONE_CIRCLE = 0.005


@dataclass(frozen=True)
class PlateForm:
    """The form of a plate by all turning tests over one circle.

    Attributes
    ----------
    known : PlateMap
        Their weighted mean, its uncertainty widened where they disagree.
    tests : int
        How many count.
    chi2, dof, probability : float, int, float
        How they agree; with one test nothing is left to compare.
    left_out : int
        Tests over circles of another diameter than that of the latest.
    """

    known: PlateMap
    tests: int
    chi2: float = 0.0
    dof: int = 0
    probability: float = 1.0
    left_out: int = 0

    @property
    def agrees(self) -> bool:
        """Whether the tests can be of one plate that always lay as marked."""
        return self.probability >= IMPROBABLE

    @property
    def birge_ratio(self) -> float:
        """By how much the uncertainty is widened; 1 where all tests can be of one plate."""
        return birge_ratio(self.chi2, self.dof, self.probability)


def joined_form(maps: Sequence[PlateMap]) -> PlateForm | None:
    """Join the maps of turning tests, each of the plate as marked; None without any.

    Parameters
    ----------
    maps : sequence of PlateMap
        In the order of the tests. Of those that differ in diameter the latest one's count.

    Returns
    -------
    PlateForm or None
        Generalised least squares: x = (sum S' C^-1 S)^-1 sum S' C^-1 y, with S the terms that
        a test tells of all terms (JCGM 102:2011, 6.2.2; numbering from memory).
    """
    if not maps:
        return None
    size = maps[-1].diameter_mm
    counting = [one for one in maps if abs(one.diameter_mm / size - 1) < _ONE_CIRCLE]
    left_out = len(maps) - len(counting)
    if len(counting) == 1:
        return PlateForm(counting[0], 1, left_out=left_out)
    terms = tuple(sorted({term for one in counting for term in one.terms}))
    normal, right = np.zeros((len(terms), len(terms))), np.zeros(len(terms))
    parts = []
    for one in counting:
        places = [terms.index(term) for term in one.terms]
        covariance = one.covariance()
        # a little noise keeps terms that no photograph determines from spoiling the rest
        covariance += 1e-12 * np.trace(covariance) * np.eye(len(places))
        weight, seen = np.linalg.inv(covariance), np.array(one.values_nm)
        normal[np.ix_(places, places)] += weight
        right[places] += weight @ seen
        parts.append((places, weight, seen))
    found_covariance: NDArray[np.float64] = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    found = found_covariance @ right
    chi2 = sum(float((y - found[i]) @ w @ (y - found[i])) for i, w, y in parts)
    dof = sum(len(one.terms) for one in counting) - len(terms)
    probability = _tail(chi2, dof)
    found_covariance = found_covariance * birge_ratio(chi2, dof, probability) ** 2
    lost = set.intersection(*(set(one.undetermined) for one in counting))
    joined = PlateMap.of(
        FormFit(terms, found, found_covariance),
        2.0,  # half of it is the unit: the values are in nm already
        plate=counting[-1].plate,
        when=max(one.when for one in counting),
        diameter_mm=size,
        angles_deg=(),
        undetermined=sorted(lost - {abs(m) for _, m in terms}),
        photographs=[one for each in counting for one in each.photographs],
    )
    return PlateForm(joined, len(counting), chi2, dof, probability, left_out)


def _tail(chi2: float, dof: int) -> float:
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi2)) if dof > 0 else 1.0
