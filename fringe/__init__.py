"""Fringe: contact fringes between a work and its reference plate, from photograph to verdict.

Importing the package loads nothing heavy, so that the command line starts at once.
"""

from __future__ import annotations

__all__ = ["__version__"]


def __getattr__(name: str) -> str:
    """Look the version up only when somebody asks for it."""
    if name == "__version__":
        from importlib.metadata import version

        return version("fringe")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
