"""The bench's own certificate: made on the first start, and renewed before it ends.

A browser gives its camera to encrypted pages only. A shop has no name that an authority would
vouch for, so the bench vouches for itself, and a person compares the fingerprint once.
"""

from __future__ import annotations

import ipaddress
import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from fringe.errors import BadInput
from fringe.files import make_folders, write_whole

if TYPE_CHECKING:
    from cryptography import x509

FILE = "bench-certificate.pem"
# Telephones take no certificate that holds for longer than 825 days (common practice, no source).
HOLDS, RENEWED = timedelta(days=397), timedelta(days=30)
MOST_NAMES = 24  # of this machine; it may move between networks
_BY_ROW = 16  # bytes of a fingerprint in one row of a narrow screen


@dataclass(frozen=True)
class Certificate:
    """What the bench shows for itself.

    Attributes
    ----------
    path : Path
        File with the private key and the certificate, for its owner alone.
    sha256 : str
        Fingerprint as browsers show it: 32 bytes in capitals with colons.
    ends : datetime
    """

    path: Path
    sha256: str
    ends: datetime

    @property
    def rows(self) -> list[str]:
        """The fingerprint in rows for a narrow screen."""
        parts = self.sha256.split(":")
        return [":".join(parts[k : k + _BY_ROW]) for k in range(0, len(parts), _BY_ROW)]


def state_folder() -> Path:
    """Where this user's programs keep what they make for themselves.

    `XDG_STATE_HOME` (XDG Base Directory Specification 0.8), else what the system has for it.
    """
    said = os.environ.get("XDG_STATE_HOME", "")
    if os.path.isabs(said):
        return Path(said) / "fringe"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home()) / "fringe"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "fringe"
    return Path.home() / ".local" / "state" / "fringe"


def own_certificate(
    names: Iterable[str], folder: Path | None = None, now: datetime | None = None
) -> Certificate:
    """Return the certificate for this machine, made or renewed where that is needed.

    Parameters
    ----------
    names : iterable of str
        Names and addresses by which devices reach this machine; all must stand in it.
    folder : Path, optional
        Where it is kept; the user's own folder if not given.
    now : datetime, optional
        With its zone.

    Raises
    ------
    BadInput
        If it cannot be kept.
    """
    path = (state_folder() if folder is None else folder) / FILE
    now = datetime.now(UTC) if now is None else now
    wanted = {str(one).lower() for one in names if str(one).isascii()}
    kept = _kept(path)
    if kept is not None:
        named = _names_of(kept)
        starts, ends = kept.not_valid_before_utc, kept.not_valid_after_utc
        if wanted <= named and starts <= now < ends - RENEWED:
            return _shown(path, kept)
        wanted |= set(sorted(named - wanted)[: max(0, MOST_NAMES - len(wanted))])
    try:
        make_folders(path.parent)
    except OSError as error:
        raise BadInput(
            f"{path.parent}: the bench's certificate cannot be kept there ({error.strerror}); set "
            "XDG_STATE_HOME to a folder of yours"
        ) from error
    made, pem = _made(wanted, now)
    write_whole(path, pem, private=True)
    return _shown(path, made)


def _kept(path: Path) -> x509.Certificate | None:
    """The certificate of an earlier start; None where there is none that can be used."""
    from cryptography import x509
    from cryptography.hazmat.primitives import serialization

    try:
        pem = path.read_bytes()
        serialization.load_pem_private_key(pem, None)
        kept = x509.load_pem_x509_certificate(pem)
        if os.name == "posix" and path.stat().st_mode & 0o077:
            return None  # others may have read the key
    except (OSError, ValueError, TypeError):
        return None
    return kept


def _names_of(certificate: x509.Certificate) -> set[str]:
    from cryptography import x509

    found = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses = found.get_values_for_type(x509.IPAddress)
    return {*found.get_values_for_type(x509.DNSName), *map(str, addresses)}


def _made(names: Iterable[str], now: datetime) -> tuple[x509.Certificate, bytes]:
    """A new certificate (RFC 5280), and it with its key as one file."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    who = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "fringe bench")])
    made = (
        x509.CertificateBuilder()
        .subject_name(who)
        .issuer_name(who)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))  # a telephone's clock may be slow
        .not_valid_after(now + HOLDS)
        .add_extension(x509.SubjectAlternativeName([_general(one) for one in sorted(names)]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    return made, secret + made.public_bytes(serialization.Encoding.PEM)


def _general(name: str) -> x509.GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _shown(path: Path, certificate: x509.Certificate) -> Certificate:
    from cryptography.hazmat.primitives import hashes

    digest = certificate.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certificate(path, digest, certificate.not_valid_after_utc)
