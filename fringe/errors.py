"""The errors that a user is meant to read: one line each, saying what to do."""

from __future__ import annotations


class FringeError(Exception):
    """Base of all errors with a message for the user; the command line exits with status 2."""


class BadInput(FringeError):  # noqa: N818 - named for what a person did, not for a class
    """The input itself is wrong: a missing file, a unit left out, an edge outside the frame."""


class Refused(FringeError):  # noqa: N818
    """The input was fine, but no measurement that can be trusted came out of it."""
