"""What to do where a surface was read on another piece than the one that it is made to."""

from __future__ import annotations

from fringe.judge.advice.step import NextStep


def read_elsewhere(visit: int, piece: str) -> NextStep:
    """Say where the last visit's reading counts, and what brings the surface itself on.

    Parameters
    ----------
    visit : int
        Number of that visit.
    piece : str
        What the surface was laid on.
    """
    return NextStep(
        "remeasure",
        f"visit {visit} was read on {piece}, which counts for the pair: `fringe pair` says what "
        "to do with the two; for its own tolerance read it on its plate",
    )
