"""Fringe: contact fringes between a work and its reference plate, from photograph to verdict.

Importing the package loads nothing heavy, so that the command line starts at once: each public
name is looked up when it is first used. `__init__.pyi` beside this file tells their types.

>>> import fringe
>>> fringe.lamp("sodium").name
'sodium'
"""

from __future__ import annotations

# public name: module that has it
_READINGS = ("budget", "read", "read_burst", "read_options", "to_dataset")
_PLATES = ("log_plate_visit", "plate_state")
_RECORDS = ("log_visit", "match", "open_surface", "progress")
_PLACES = {
    **dict.fromkeys(_READINGS, "fringe.api.readings"),
    **dict.fromkeys(_PLATES, "fringe.api.plates"),
    **dict.fromkeys(_RECORDS, "fringe.api.records"),
    **dict.fromkeys(("render", "tolerance"), "fringe.api.design"),
    **dict.fromkeys(("BadInput", "FringeError", "Refused"), "fringe.errors"),
    "Photo": "fringe.photo.load",
    "ReadOptions": "fringe.orders.options",
    "Reading": "fringe.orders.reading",
    "lamp": "fringe.optics.lamps",
    "load_photo": "fringe.photo.load",
}

__all__ = ["__version__", *_PLACES]


def __getattr__(name: str) -> object:
    """Import what a public name stands for, when somebody asks for it."""
    if name == "__version__":
        from importlib.metadata import version

        return version("fringe")
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value: object = getattr(import_module(_PLACES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """List the public names."""
    return sorted({*globals(), *__all__})
