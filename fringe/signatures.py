"""Signatures of files by SSH keys, as `ssh-keygen -Y sign` makes and `-Y verify` verifies them.

The format is that of OpenSSH's PROTOCOL.sshsig, for Ed25519 keys (RFC 8709); what begins like a
file of minisign is one, see :mod:`fringe.minisign`. The cryptography
comes with the extra `sign` and is imported only where something is signed or verified.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fringe import minisign
from fringe.errors import BadInput

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

NAMESPACE = b"fringe"
_MAGIC = b"SSHSIG"
_KIND = b"ssh-ed25519"
_HASHES = {b"sha512": hashlib.sha512, b"sha256": hashlib.sha256}
_HASH = b"sha512"
_ARMOUR = re.compile(
    rb"-----BEGIN SSH SIGNATURE-----\s([A-Za-z0-9+/=\s]+)-----END SSH SIGNATURE-----\s*"
)
_COLUMNS = 70
_LARGEST = 1 << 20  # bytes of a key or signature; real ones have a few hundred


@dataclass(frozen=True)
class PublicKey:
    """A key that signatures are verified with.

    Attributes
    ----------
    key : Ed25519PublicKey
    ending : str
        Of the name of a signature's file.
    """

    key: Ed25519PublicKey
    ending = ".sig"

    @property
    def blob(self) -> bytes:
        """The key as SSH writes it."""
        return _text(_KIND) + _text(self.key.public_bytes_raw())

    @property
    def fingerprint(self) -> str:
        """Its name as `ssh-keygen -l` prints it."""
        return _fingerprint(self.blob)

    def verify(self, content: bytes, armoured: bytes, path: Path) -> None:
        """Say where a signature is not that of this key over a content; see :func:`verify`."""
        key, namespace, hashed, signature = _parts(armoured, path)
        if namespace != NAMESPACE:
            raise BadInput(
                f"{path}: was signed for the namespace {_shown(namespace)}, not 'fringe'"
            )
        if key != self.blob:
            raise BadInput(f"{path}: is by the key {_fingerprint(key)}, not by {self.fingerprint}")
        self.key.verify(signature, _signed_data(content, hashed))


@dataclass(frozen=True)
class SigningKey:
    """A private key."""

    key: Ed25519PrivateKey

    @property
    def public(self) -> PublicKey:
        """The key that verifies what this one signs."""
        return PublicKey(self.key.public_key())

    def signature(self, content: bytes) -> bytes:
        """Return the content of a signature file for a file of this content."""
        signed = self.key.sign(_signed_data(content, _HASH))
        blob = _MAGIC + (1).to_bytes(4, "big") + _text(self.public.blob) + _text(NAMESPACE)
        blob += _text(b"") + _text(_HASH) + _text(_text(_KIND) + _text(signed))
        letters = base64.b64encode(blob)
        rows = [letters[at : at + _COLUMNS] for at in range(0, len(letters), _COLUMNS)]
        ends = [b"-----BEGIN SSH SIGNATURE-----", b"-----END SSH SIGNATURE-----"]
        return b"\n".join([ends[0], *rows, ends[1], b""])


# of OpenSSH or of minisign
AnyPublicKey = PublicKey | minisign.PublicKey
AnySigningKey = SigningKey | minisign.SigningKey


def load_signing_key(path: Path, ask: Callable[[Path], str]) -> AnySigningKey:
    """Load a private Ed25519 key of OpenSSH or minisign.

    Parameters
    ----------
    path : Path
    ask : callable
        Gives the passphrase of an encrypted key; raises `BadInput` where nobody can be asked.

    Raises
    ------
    BadInput
        If it is no such key, or the passphrase does not open it.
    """
    ssh, data = _library(), read_small(path)
    if data.startswith(minisign.START):
        return minisign.load_signing_key(path, data, ask)
    try:
        try:
            key = ssh.load_ssh_private_key(data, None)
        except TypeError:  # it is encrypted
            key = ssh.load_ssh_private_key(data, ask(path).encode())
    except _errors() as error:
        raise BadInput(
            f"{path}: is no private key of OpenSSH that can be read ({error}); "
            "sign with a key that `ssh-keygen -t ed25519` or `minisign -G` made, and its passphrase"
        ) from error
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    if not isinstance(key, Ed25519PrivateKey):
        raise BadInput(f"{path}: is no Ed25519 key; `ssh-keygen -t ed25519` makes one")
    return SigningKey(key)


def load_public_key(path: Path) -> AnyPublicKey:
    """Load a public Ed25519 key of OpenSSH, as in a file `id_ed25519.pub`, or of minisign.

    Raises
    ------
    BadInput
        If it is no such key.
    """
    ssh, data = _library(), read_small(path)
    if data.startswith(minisign.START):
        return minisign.load_public_key(path, data)
    try:
        key = ssh.load_ssh_public_key(data.strip())
    except _errors() as error:
        raise BadInput(
            f"{path}: is no public key of OpenSSH ({error}); it is the file that ends in .pub"
        ) from error
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    if not isinstance(key, Ed25519PublicKey):
        raise BadInput(f"{path}: is no Ed25519 key; only such signatures are verified")
    return PublicKey(key)


def verify(content: bytes, armoured: bytes, by: AnyPublicKey, path: Path) -> None:
    """Say where a signature is not that of a key over a content.

    Parameters
    ----------
    content : bytes
        Of the file that was signed.
    armoured : bytes
        Content of the signature file.
    by : PublicKey
    path : Path
        The signature file; the line begins with it.

    Raises
    ------
    BadInput
        If it is no signature, of another key or namespace, or the content is another one.
    """
    from cryptography.exceptions import InvalidSignature

    try:
        by.verify(content, armoured, path)
    except InvalidSignature as error:
        raise BadInput(
            f"{path}: does not fit; the file that was signed was changed, or the signature"
        ) from error


def read_small(path: Path) -> bytes:
    """Read a key, a signature or a short text.

    Raises
    ------
    BadInput
        If it cannot be read, or is far too large for one.
    """
    try:
        if not path.is_file():
            raise BadInput(f"{path}: there is no such file")
        with open(path, "rb") as file:
            data = file.read(_LARGEST + 1)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error})") from error
    if len(data) > _LARGEST:
        raise BadInput(f"{path}: is too large for a key, a signature or a signed history")
    return data


def _signed_data(content: bytes, hashed: bytes) -> bytes:
    digest = _HASHES[hashed](content).digest()
    return _MAGIC + _text(NAMESPACE) + _text(b"") + _text(hashed) + _text(digest)


def _text(value: bytes) -> bytes:
    """A string of SSH (RFC 4251, section 5): its length in four bytes, then itself."""
    return len(value).to_bytes(4, "big") + value


def _strings(blob: bytes, count: int) -> list[bytes]:
    """Read so many strings of SSH, and nothing after them; `ValueError` where that fails."""
    found = []
    for _ in range(count):
        size = int.from_bytes(blob[:4], "big")
        if len(blob) < 4 + size:
            raise ValueError("it ends too early")
        found.append(blob[4 : 4 + size])
        blob = blob[4 + size :]
    if blob:
        raise ValueError("something follows it")
    return found


def _parts(armoured: bytes, path: Path) -> tuple[bytes, bytes, bytes, bytes]:
    """Key, namespace, name of the hash and the Ed25519 signature of a signature file."""
    try:
        match = _ARMOUR.fullmatch(armoured)
        if match is None:
            raise ValueError("no SSH SIGNATURE")
        blob = base64.b64decode(b"".join(match[1].split()), validate=True)
        head = _MAGIC + (1).to_bytes(4, "big")
        if not blob.startswith(head):
            raise ValueError("no SSHSIG of version 1")
        key, namespace, reserved, hashed, signature = _strings(blob[len(head) :], 5)
        kind, signed = _strings(signature, 2)
        if kind != _KIND:
            raise ValueError(f"of kind {_shown(kind)}, not ssh-ed25519")
        if reserved or hashed not in _HASHES:
            raise ValueError(f"hashed by {_shown(hashed)}")
    except (ValueError, binascii.Error) as error:
        raise BadInput(f"{path}: is no signature that can be verified ({error})") from error
    return key, namespace, hashed, signed


def _shown(name: bytes) -> str:
    return repr(name[:40].decode("ascii", "backslashreplace"))


def _fingerprint(blob: bytes) -> str:
    return "SHA256:" + base64.b64encode(hashlib.sha256(blob).digest()).rstrip(b"=").decode()


def _library() -> Any:
    try:
        from cryptography.hazmat.primitives import serialization
    except ImportError as error:
        raise BadInput(
            "signatures need the extra `sign`, which is not installed:"
            " pip install -e '.[sign]' where fringe lies"
        ) from error
    return serialization


def _errors() -> tuple[type[Exception], ...]:
    """What the library raises for keys that it cannot load."""
    from cryptography.exceptions import UnsupportedAlgorithm

    return ValueError, TypeError, UnsupportedAlgorithm
