"""Which terms of a form are local: patches, and round terms of narrow zones.

They stand beside the terms that every form has. What works on a form as a whole (a view, a turned
plate, the names of zones) takes the broad terms, or the form on Zernike terms alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

from fringe.optics.form import disc_grid
from fringe.optics.patches import is_patch
from fringe.optics.zernike import Term, zernike_matrix

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

BROAD_DEGREE = 44  # of the terms that every form may have
_RINGS, _SPOKES = 64, 128  # of the grid that sees a patch


def is_local(term: Term) -> bool:
    """Tell a patch or a narrow round term from those that every form may have."""
    return is_patch(term) or term[0] > BROAD_DEGREE


def broad_places(terms: Sequence[Term]) -> list[int]:
    """Places of the terms that are not local."""
    return [k for k, term in enumerate(terms) if not is_local(term)]


@lru_cache(8)
def without_patches(
    terms: tuple[Term, ...],
) -> tuple[tuple[Term, ...], NDArray[np.float64]]:
    """Zernike terms of a form, and what makes their coefficients of all its coefficients.

    Parameters
    ----------
    terms : tuple of (n, m), length T

    Returns
    -------
    terms : tuple of (n, m), length K
    matrix : ndarray, shape (K, T)
        Patches are shared out to the terms by least squares over the disc.
    """
    import numpy as np

    kept = [k for k, term in enumerate(terms) if not is_patch(term)]
    zernikes = tuple(terms[k] for k in kept)
    matrix = np.zeros((len(kept), len(terms)))
    matrix[np.arange(len(kept)), kept] = 1.0
    patches = [k for k, term in enumerate(terms) if is_patch(term)]
    if patches:
        u, v, weight = disc_grid(_RINGS, _SPOKES)
        rows = zernike_matrix(zernikes, u, v).reshape(-1, len(kept))
        heights = zernike_matrix([terms[k] for k in patches], u, v).reshape(-1, len(patches))
        weighted = rows * (weight.ravel() + 1e-9)[:, None]
        matrix[:, patches] = np.linalg.solve(weighted.T @ rows, weighted.T @ heights)
    return zernikes, matrix
