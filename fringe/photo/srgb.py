"""The transfer function of sRGB (IEC 61966-2-1), both ways."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def srgb_to_linear(value: NDArray[Any]) -> NDArray[np.float32]:
    """Undo the sRGB transfer function (IEC 61966-2-1), 0 to 1, any shape."""
    encoded = np.asarray(value, np.float32)
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4).astype(
        np.float32
    )


def linear_to_srgb(light: NDArray[Any]) -> NDArray[Any]:
    """Apply the sRGB transfer function (IEC 61966-2-1), 0 to 1, any shape."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
