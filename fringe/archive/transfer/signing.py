"""A history's digest in a short text that is signed, so that it is known who vouched for it."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from fringe.errors import BadInput
from fringe.files import write_new
from fringe.signatures import AnyPublicKey, AnySigningKey, read_small, verify

_TEXT = re.compile(
    r"fringe history\narchive: (?P<archive>\".*\")\ndigest: (?P<digest>[0-9a-f]{64})\n"
    r"time: (?P<time>\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ)\n"
)


@dataclass(frozen=True)
class SignedHistory:
    """What somebody signed of an archive.

    Attributes
    ----------
    file : Path
        The text; its signature lies beside it, with `.sig` or `.minisig` at the end.
    archive : str
        Name of the archive's folder.
    digest : str
        Stands for the archive's history.
    time : str
        When it was signed, by the signer's clock, in UTC; the signature does not prove it.
    key : str
        Fingerprint of the signer's key.
    """

    file: Path
    archive: str
    digest: str
    time: str
    key: str

    @property
    def text(self) -> str:
        """What is signed: ASCII, whatever the archive's name."""
        name = json.dumps(self.archive)
        return f"fringe history\narchive: {name}\ndigest: {self.digest}\ntime: {self.time}\n"

    def to_json(self) -> dict[str, object]:
        """Return `signed` of `fringe check --json`."""
        return {
            "file": str(self.file),
            "archive": self.archive,
            "digest": self.digest,
            "time": self.time,
            "key": self.key,
        }


def signature_file(path: Path, key: AnyPublicKey) -> Path:
    """Where the signature of a file by a key lies."""
    return path.with_name(path.name + key.ending)


def write_signature(path: Path, content: bytes, key: AnySigningKey) -> None:
    """Sign a file's content beside the file.

    Raises
    ------
    BadInput
        If there is a signature already, or it cannot be written.
    """
    place = signature_file(path, key.public)
    if not write_new(place, key.signature(content)):
        raise BadInput(f"{place}: is there already; a signature is never overwritten")


def sign_history(
    archive: Path, digest: str, key: AnySigningKey, folder: Path, now: datetime
) -> SignedHistory:
    """Write a text that names a history, and its signature, into a folder.

    Parameters
    ----------
    archive : Path
    digest : str
        Of its history.
    key : SigningKey of either kind
    folder : Path
        Gets `history-TIME.txt` and its signature; nothing is overwritten.
    now : datetime
        With its zone.

    Raises
    ------
    BadInput
        If a file of that name is there, or they cannot be written; none is left then.
    """
    when = now.astimezone(UTC)
    file = folder / f"history-{when:%Y%m%dT%H%M%SZ}.txt"
    name, time = archive.resolve().name, f"{when:%Y-%m-%dT%H:%M:%SZ}"
    signed = SignedHistory(file, name, digest, time, key.public.fingerprint)
    content = signed.text.encode("ascii")
    if not write_new(file, content):
        raise BadInput(f"{file}: is there already; a signed history is never overwritten")
    try:
        write_signature(file, content, key)
    except BadInput:
        file.unlink(missing_ok=True)
        raise
    return signed


def signed_history(file: Path, by: AnyPublicKey) -> SignedHistory:
    """Read a signed history, once its signature is verified.

    Raises
    ------
    BadInput
        If the signature is not that key's over this text, or the text is no history.
    """
    content, place = read_small(file), signature_file(file, by)
    verify(content, read_small(place), by, place)
    match = _TEXT.fullmatch(content.decode("ascii", "replace"))
    try:
        name = json.loads(match["archive"]) if match else None
    except ValueError:
        name = None
    if match is None or name is None:
        raise BadInput(f"{file}: the signature is good, but the file is no signed history")
    return SignedHistory(file, name, match["digest"], match["time"], by.fingerprint)
