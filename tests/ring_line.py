"""The line that a report of a ring experiment draws through its table of rings."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.stats import linregress


def ring_line(orders: Any, radii: Any) -> Any:
    """Least squares of r^2 against order, its intercept free: `slope`, `stderr`, `intercept`, ...

    The intercept is free, since dust or pressing at the contact shifts every order alike.
    """
    return linregress(orders, np.square(radii))
