"""Film clips for tests, written by the library that reads them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import av
from numpy.typing import NDArray


def film(
    path: Path,
    frames: Sequence[NDArray[Any]],
    *,
    begun: datetime | None = None,
    deep: bool = False,
) -> Path:
    """Write frames, uint8 or with `deep` uint16 of shape (M, N, 3), thirty a second."""
    with av.open(str(path), "w") as file:
        if begun is not None:
            file.metadata["creation_time"] = begun.isoformat()
        stream = file.add_stream("libx265" if deep else "libx264", rate=30)
        stream.height, stream.width = frames[0].shape[:2]
        stream.pix_fmt = "yuv420p10le" if deep else "yuv420p"
        stream.options = {"crf": "12"}
        kind = "rgb48le" if deep else "rgb24"
        for frame in frames:
            file.mux(stream.encode(av.VideoFrame.from_ndarray(frame, format=kind)))
        file.mux(stream.encode(None))
    return path
