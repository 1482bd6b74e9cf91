"""From any name to a folder name that every file system accepts."""

from __future__ import annotations

import hashlib
import re
import unicodedata

from fringe.errors import BadInput

MAX_NAME = 1000
_LONGEST = 48
# by Windows, and by the archive for what it holds beside surfaces
_RESERVED = re.compile(
    r"(?i)^((con|prn|aux|nul|com\d|lpt\d)(\..*)?|instruments|readme\.txt|surface-\d+\.json"
    r"|.*\.(moving|partial|h5|plate))$"
)
# A plate that has visits of its own is kept as a surface is, under a name that tells it from
# one: `plate: P7`, in the folder `P7.plate`.
_OF_A_PLATE = "plate: "
PLATE_SUFFIX = ".plate"


def plate_record_name(plate: str) -> str:
    """Name that a plate's own visits are kept under."""
    return _OF_A_PLATE + plate


def plate_of_record(name: str) -> str | None:
    """Name of the plate that a record is of; None where it is a surface's."""
    return name.removeprefix(_OF_A_PLATE) if name.startswith(_OF_A_PLATE) else None


def clean_name(name: str) -> str:
    """Return a name in its composed Unicode form, without surrounding space.

    Raises
    ------
    BadInput
        If it is empty, too long, not text, or holds control characters.
    """
    text = unicodedata.normalize("NFC", name).strip()
    if not text:
        raise BadInput("surface name: it is empty; give a name")
    if len(text) > MAX_NAME:
        raise BadInput(f"surface name: {len(text)} characters are more than {MAX_NAME}")
    if any(unicodedata.category(letter) in ("Cc", "Cs") for letter in text):
        raise BadInput(f"surface name: {text!r} holds characters that cannot be printed")
    return text


def folder_names(name: str) -> tuple[str, str]:
    """Folder names for a surface: the one to use, and the one if another surface has that.

    Parameters
    ----------
    name : str
        A cleaned name.

    Returns
    -------
    tuple of str
        Letters, digits, dot, hyphen and underscore only, at most 57 characters. The second,
        and the first where anything had to be altered, end in eight hexadecimal digits of
        the name's SHA-256.
    """
    plate = plate_of_record(name)
    if plate is not None:
        first, second = folder_names(plate)
        return first + PLATE_SUFFIX, second + PLATE_SUFFIX
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    slug = re.sub(r"[^A-Za-z0-9._-]+", "-", plain).strip("-._")[:_LONGEST].strip("-._")
    digest = hashlib.sha256(name.encode()).hexdigest()[:8]
    marked = f"{slug}-{digest}" if slug else f"surface-{digest}"
    return (slug if slug == name and not _RESERVED.match(slug) else marked), marked
