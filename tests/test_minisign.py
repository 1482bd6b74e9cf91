"""Keys and signatures of minisign: the tool's own vectors, what is refused, and the tool itself."""

from __future__ import annotations

import base64
import hashlib
import shutil
import subprocess

import pytest

from calling import call, refused
from fringe.archive.store.write import log_visit
from fringe.errors import BadInput
from fringe.signatures import load_public_key, load_signing_key, verify
from sample_visits import full_surface, hours, plain_visit

pytest.importorskip("cryptography.hazmat.primitives.asymmetric.ed25519")
TOOL = shutil.which("minisign")

# Made by minisign 0.11 for this test: -G -W, then -S -t "a comment", and -S -l for the older kind.
CONTENT = b"any content\n"
PUBLIC = b"""untrusted comment: minisign public key 3BE3E6EC07B0B6E4
RWTktrAH7ObjO8A0aKxA3gqr/s7JxdWmPtUTPZA21tTsZmhUJs7nZq3S
"""
SECRET = b"""untrusted comment: minisign encrypted secret key
RWQAAEIyAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA5LawB+zm4zuqDxIc8Wl53MaCIzVFPUcE7S04L2LkJoAaSAHo0ZaqWsA0aKxA3gqr/s7JxdWmPtUTPZA21tTsZmhUJs7nZq3SAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=
"""
SIGNED = b"""untrusted comment: signature from minisign secret key
RUTktrAH7ObjOyvjyuM3dJNw6HBppq7FB8imZyb8phjZDQ9LCu0dRjYCroUYZpfRKT9cNTWXtohpYi95PHAI7WtGX0BQpbU/gQQ=
trusted comment: a comment
y7+sgH1OtBxPYHJEQqV0Z/5LEZkQNcJsemePjQC+3Gu5N2gpNCusvYZLnSC7sjxPUU7ByjqoiXTQPYmqT7fFAw==
"""
OLDER = b"""untrusted comment: signature from minisign secret key
RWTktrAH7ObjOyXCto3j5mexCw+6drDaGvgbAxrSC+GjAzsVvoF/1eXLdCKIxwPTD4Idw5v8x1h3dXpq5LrZn7uGbbSLdOnuFwc=
trusted comment: older
njkbPh5DFWrXrI+aUrdiEbMTAhY4cRusdRY6R7N7EgMQh00f2/t/o06kNYODSzyvyxjOze7mlspsWoXCWo+5Dw==
"""


def no_passphrase(path):
    raise BadInput(f"{path}: is locked")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder with the keys and an archive of one visit."""
    (tmp_path / "key.pub").write_bytes(PUBLIC)
    (tmp_path / "key").write_bytes(SECRET)
    log_visit(full_surface(tmp_path / "shop", "one"), plain_visit("first"), now=hours(0))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_what_the_tool_signed(here):
    """Signatures of both kinds verify, over their content alone."""
    by = load_public_key(here / "key.pub")
    for armoured in (SIGNED, OLDER):
        verify(CONTENT, armoured, by, here / "x")
        with pytest.raises(BadInput, match="does not fit"):
            verify(CONTENT + b" ", armoured, by, here / "x")


def test_no_bit_of_a_signature_is_free(here):
    """No flip of a bit verifies, of key number, signature, trusted comment or what binds it."""
    by = load_public_key(here / "key.pub")
    first, signed, comment, bound = SIGNED.splitlines()
    parts = [base64.b64decode(signed), comment.removeprefix(b"trusted comment: ")]
    parts.append(base64.b64decode(bound))
    for which, part in enumerate(parts):
        for at in range(len(part)):
            one = list(parts)
            one[which] = part[:at] + bytes([part[at] ^ (1 << at % 7)]) + part[at + 1 :]
            words, bind = base64.b64encode(one[0]), base64.b64encode(one[2])
            rows = [first, words, b"trusted comment: " + one[1], bind, b""]
            with pytest.raises(BadInput):
                verify(CONTENT, b"\n".join(rows), by, here / "x")


def test_signed_and_verified(here, capsys):
    """A history is signed with `.minisig` at the end, verifies by the tool, and by nobody else."""
    answer = call(capsys, "check", "shop", "--sign", "key", "--json")
    assert answer.status == 0, answer.err
    file = here / answer.json["signed"]["file"]
    place = file.with_name(f"{file.name}.minisig")
    words = ("check", "shop", "--signed", file.name, "--by", "key.pub")
    found = call(capsys, *words, "--json")
    assert found.json["signed"]["key"] == f"minisign:{PUBLIC.split()[-1].decode()}"
    if TOOL:
        tool = [TOOL, "-V", "-p", "key.pub", "-m", file.name]
        assert subprocess.run(tool, capture_output=True).returncode == 0
    blob = base64.b64decode(PUBLIC.split()[-1])
    other = base64.b64encode(blob[:2] + bytes(8) + blob[10:])
    (here / "key.pub").write_bytes(PUBLIC.splitlines()[0] + b"\n" + other + b"\n")
    assert "is by another key" in refused(capsys, *words)
    (here / "key.pub").write_bytes(PUBLIC)
    place.write_bytes(b"x")
    assert "is no signature that can be verified" in refused(capsys, *words)


def locked(passphrase, work=32768, memory=1 << 24):
    """The same key behind a passphrase; scrypt's N is 1024 by these limits, p is 1."""
    blob = base64.b64decode(SECRET.split()[-1])
    secret = blob[54:126]
    secret += hashlib.blake2b(b"Ed" + secret, digest_size=32).digest()
    salt = bytes(range(32))
    stream = hashlib.scrypt(passphrase, salt=salt, n=1024, r=8, p=1, dklen=104)
    hidden = bytes(a ^ b for a, b in zip(secret, stream, strict=True))
    limits = work.to_bytes(8, "little") + memory.to_bytes(8, "little")
    whole = b"EdScB2" + salt + limits + hidden
    return SECRET.splitlines()[0] + b"\n" + base64.b64encode(whole) + b"\n"


def test_a_locked_key(here):
    """It opens by its passphrase alone, and asks for no more memory than the tool does."""
    (here / "key").write_bytes(locked(b"open"))
    key = load_signing_key(here / "key", lambda _: "open")
    verify(CONTENT, key.signature(CONTENT), load_public_key(here / "key.pub"), here / "x")
    with pytest.raises(BadInput, match="the passphrase does not open it"):
        load_signing_key(here / "key", lambda _: "shut")
    with pytest.raises(BadInput, match="key: is locked"):
        load_signing_key(here / "key", no_passphrase)
    (here / "key").write_bytes(locked(b"open", 1 << 62, 1 << 40))
    with pytest.raises(BadInput, match="more memory or time"):
        load_signing_key(here / "key", lambda _: "open")


@pytest.mark.parametrize("cut", [0, 40, 60, 100])
def test_a_damaged_key(here, cut):
    """A key that is cut off is refused in one line, private or public."""
    for name, whole, load in (
        ("key", SECRET, lambda path: load_signing_key(path, no_passphrase)),
        ("key.pub", PUBLIC, load_public_key),
    ):
        (here / name).write_bytes(whole[:cut])
        with pytest.raises(BadInput, match=r"is no (private|public) key"):
            load(here / name)
