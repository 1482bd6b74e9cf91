"""The errors that a user is meant to read: one line each, saying what to do."""

from __future__ import annotations

from collections.abc import Iterable


class FringeError(Exception):
    """Base of all errors with a message for the user; the command line exits with status 2."""


class BadInput(FringeError):  # noqa: N818 - named for what a person did, not for a class
    """The input itself is wrong: a missing file, a unit left out, an edge outside the frame."""


class Refused(FringeError):  # noqa: N818
    """The input was fine, but no measurement that can be trusted came out of it."""


def nearest_name(name: str, names: Iterable[str]) -> str | None:
    """The name that is called nearly so; None where none is."""
    from difflib import get_close_matches

    by_word = {one.casefold(): one for one in names}
    near = get_close_matches(name.strip().casefold(), by_word, 1, 0.5)
    return by_word[near[0]] if near else None


def did_you_mean(name: str, names: Iterable[str]) -> str:
    """Beginning of a list of names, with the nearest one before it; empty where none is near."""
    near = nearest_name(name, names)
    return "" if near is None else f"the nearest is {near!r}; "
