"""DNG, what cameras keep of their sensor; the decoder comes with the extra `raw`."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.photo.srgb import linear_to_srgb


def raw_samples(
    data: bytes, name: str, check_size: Callable[[int, int, str], None]
) -> NDArray[np.uint16]:
    """Develop the sensor's light without the camera's tone curve, sharpening or white balance.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        For messages.
    check_size : callable
        Raises for a width and height that are too large, before anything is decoded.

    Returns
    -------
    ndarray of uint16, shape (M, N, 3)
        Upright, by sRGB's curve; the sensor's white level at the top.

    Raises
    ------
    BadInput
        If the decoder is not installed, or the file is damaged or too large.
    """
    try:
        import rawpy
    except ImportError as error:
        raise BadInput(
            f"{name}: is a DNG, which is read with the extra `raw`:"
            " pip install -e '.[raw]' where fringe lies; or export it as TIFF"
        ) from error
    try:
        with rawpy.imread(io.BytesIO(data)) as file:
            check_size(int(file.sizes.raw_width), int(file.sizes.raw_height), name)
            linear = _developed(file, rawpy)
    except BadInput:
        raise
    except Exception as error:  # a damaged file raises many kinds
        raise BadInput(
            f"{name}: is a DNG that cannot be developed; copy it again, or export it as TIFF"
        ) from error
    top = np.iinfo(np.uint16).max
    table = np.rint(top * linear_to_srgb(np.arange(top + 1) / top)).astype(np.uint16)
    return np.asarray(table[linear])


def _developed(file: Any, rawpy: Any) -> NDArray[np.uint16]:
    developed = file.postprocess(
        demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
        output_color=rawpy.ColorSpace.raw,
        output_bps=16,
        gamma=(1, 1),
        user_wb=[1, 1, 1, 1],
        no_auto_bright=True,
        adjust_maximum_thr=0.0,
    )
    return np.asarray(developed, np.uint16)
