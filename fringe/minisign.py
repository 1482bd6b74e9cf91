"""Signatures of files by minisign keys, as `minisign -S` makes and `minisign -V` verifies them.

The format is the tool's own, written from memory and held against the tool: a comment line, then
base64 of two letters for the kind, the key's number of eight bytes, and the key or signature. A
signature is Ed25519 (RFC 8032) over the BLAKE2b digest of the file (RFC 7693); another one binds
its trusted comment to it. A private key is locked by scrypt (RFC 7914).
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fringe.errors import BadInput

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

ENDING = ".minisig"
START = b"untrusted comment:"  # of every file of this kind
_TRUSTED = b"trusted comment: "
_PLAIN, _HASHED = b"Ed", b"ED"  # kinds of a signature: of the file itself, and of its digest
_LOCKED, _OPEN, _SUM = b"Sc", b"\0\0", b"B2"
_NUMBER = 8  # bytes of a key's number
_KEY = 32  # bytes of a public key, and of a private key's seed
_LARGEST_MEMORY = 1 << 30  # that unlocking a key may take [byte]; as much as the tool asks for
_LEAST_WORK = 32768
_BLOCK = 8  # scrypt's r


@dataclass(frozen=True)
class PublicKey:
    """A key that signatures are verified with."""

    key: Ed25519PublicKey
    number: bytes
    ending = ENDING

    @property
    def fingerprint(self) -> str:
        """The key itself, as the tool takes it after -P."""
        text = base64.b64encode(_PLAIN + self.number + self.key.public_bytes_raw())
        return f"minisign:{text.decode()}"

    def verify(self, content: bytes, armoured: bytes, path: Path) -> None:
        """Say where a signature is not that of this key over a content; see `signatures.verify`."""
        kind, number, signature, comment, bound = _parts(armoured, path)
        if number != self.number:
            raise BadInput(f"{path}: is by another key than {self.fingerprint}")
        self.key.verify(signature, _digest(content) if kind == _HASHED else content)
        self.key.verify(bound, signature + comment)


@dataclass(frozen=True)
class SigningKey:
    """A private key."""

    key: Ed25519PrivateKey
    number: bytes

    @property
    def public(self) -> PublicKey:
        """The key that verifies what this one signs."""
        return PublicKey(self.key.public_key(), self.number)

    def signature(self, content: bytes) -> bytes:
        """Return the content of a signature file for a file of this content."""
        comment = b"signed by fringe"
        signed = self.key.sign(_digest(content))
        bound = self.key.sign(signed + comment)
        rows = [
            START + b" signature from a minisign secret key",
            base64.b64encode(_HASHED + self.number + signed),
            _TRUSTED + comment,
            base64.b64encode(bound),
        ]
        return b"\n".join([*rows, b""])


def load_signing_key(path: Path, data: bytes, ask: Callable[[Path], str]) -> SigningKey:
    """Take a private key from what its file holds; see `signatures.load_signing_key`."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    blob = _blob(data)
    size = 2 + 2 + 2 + 32 + 8 + 8 + _NUMBER + 2 * _KEY + 32
    if len(blob) != size or blob[:2] != _PLAIN or blob[4:6] != _SUM:
        raise BadInput(f"{path}: is no private key of minisign; `minisign -G` makes one")
    lock, salt, secret = blob[2:4], blob[6:38], blob[54:]
    if lock == _LOCKED:
        work, memory = (int.from_bytes(blob[at : at + 8], "little") for at in (38, 46))
        stream = _stream(path, ask(path).encode(), salt, work, memory)
        secret = bytes(a ^ b for a, b in zip(secret, stream, strict=True))
    elif lock != _OPEN:
        raise BadInput(f"{path}: is a private key of minisign that is locked in an unknown way")
    number, seed = secret[:_NUMBER], secret[_NUMBER : _NUMBER + _KEY]
    key = Ed25519PrivateKey.from_private_bytes(seed)
    whole, proof = secret[: _NUMBER + 2 * _KEY], secret[_NUMBER + 2 * _KEY :]
    summed = hashlib.blake2b(_PLAIN + whole, digest_size=32).digest()
    if lock == _OPEN and not any(proof):  # the tool leaves it out
        proof = summed
    if proof != summed or key.public_key().public_bytes_raw() != whole[-_KEY:]:
        raise BadInput(f"{path}: the passphrase does not open it, or it is damaged")
    return SigningKey(key, number)


def load_public_key(path: Path, data: bytes) -> PublicKey:
    """Take a public key from what its file holds; see `signatures.load_public_key`."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    blob = _blob(data)
    if len(blob) != 2 + _NUMBER + _KEY or blob[:2] != _PLAIN:
        raise BadInput(f"{path}: is no public key of minisign; it is the file that ends in .pub")
    number, key = blob[2 : 2 + _NUMBER], blob[2 + _NUMBER :]
    return PublicKey(Ed25519PublicKey.from_public_bytes(key), number)


def _digest(content: bytes) -> bytes:
    return hashlib.blake2b(content).digest()


def _blob(data: bytes) -> bytes:
    """What the second line of a key says; nothing where it is no base64."""
    lines = data.splitlines()
    try:
        return base64.b64decode(lines[1].strip(), validate=True) if len(lines) == 2 else b""
    except binascii.Error:
        return b""


def _stream(path: Path, passphrase: bytes, salt: bytes, work: int, memory: int) -> bytes:
    """What the secret part of a locked key is hidden by, of the limits that the file states.

    They are turned into scrypt's own parameters as libsodium does it (from memory).
    """
    work = max(work, _LEAST_WORK)
    by_work = work < memory // 32
    most = work // (_BLOCK * 4) if by_work else memory // (_BLOCK * 128)
    power = next(n for n in range(1, 64) if 1 << n > most // 2)
    lanes = 1 if by_work else max(1, min((work // 4) >> power, 0x3FFFFFFF) // _BLOCK)
    needed = 128 * _BLOCK * ((1 << power) + lanes)
    if needed > _LARGEST_MEMORY + (1 << 20) or lanes > 64:
        raise BadInput(f"{path}: unlocking it takes more memory or time than any key of minisign")
    count = _NUMBER + 2 * _KEY + 32
    return hashlib.scrypt(
        passphrase,
        salt=salt,
        n=1 << power,
        r=_BLOCK,
        p=lanes,
        maxmem=needed + (1 << 20),
        dklen=count,
    )


def _parts(armoured: bytes, path: Path) -> tuple[bytes, bytes, bytes, bytes, bytes]:
    """Kind, key's number, signature, trusted comment and what binds that, of a signature file."""
    lines = armoured.replace(b"\r\n", b"\n").rstrip(b"\n").split(b"\n")
    try:
        if len(lines) != 4 or not lines[0].startswith(START) or not lines[2].startswith(_TRUSTED):
            raise ValueError("no signature of minisign")
        blob, bound = (base64.b64decode(lines[at], validate=True) for at in (1, 3))
        kind, number, signature = blob[:2], blob[2 : 2 + _NUMBER], blob[2 + _NUMBER :]
        if kind not in (_PLAIN, _HASHED) or len(signature) != 64 or len(bound) != 64:
            raise ValueError("of an unknown kind")
    except (ValueError, binascii.Error) as error:
        raise BadInput(f"{path}: is no signature that can be verified ({error})") from error
    return kind, number, signature, lines[2].removeprefix(_TRUSTED), bound
