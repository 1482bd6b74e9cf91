"""Signed histories and reports: what is verified, what is refused, and what ssh-keygen says."""

from __future__ import annotations

import base64
import shutil
import subprocess
import sys

import pytest

from calling import call, refused
from fringe.archive.store.ledger import LEDGER
from fringe.archive.store.read import session_files
from fringe.archive.store.write import log_visit
from fringe.errors import BadInput
from fringe.signatures import load_public_key, load_signing_key, verify
from sample_visits import full_surface, hours, plain_visit

serialization = pytest.importorskip("cryptography.hazmat.primitives.serialization")
ed25519 = pytest.importorskip("cryptography.hazmat.primitives.asymmetric.ed25519")
KEYGEN = shutil.which("ssh-keygen")
foreign = pytest.mark.skipif(KEYGEN is None, reason="ssh-keygen is not installed")


def write_key(path, passphrase=None):
    """Write a new key and its public key as OpenSSH does."""
    key = ed25519.Ed25519PrivateKey.generate()
    lock = serialization.NoEncryption()
    if passphrase:
        lock = serialization.BestAvailableEncryption(passphrase.encode())
    kind = serialization.Encoding.PEM, serialization.PrivateFormat.OpenSSH
    path.write_bytes(key.private_bytes(*kind, lock))
    plain = serialization.Encoding.OpenSSH, serialization.PublicFormat.OpenSSH
    path.with_suffix(".pub").write_bytes(key.public_key().public_bytes(*plain) + b" a name\n")


def ssh_keygen(*words, content=b""):
    """Run the foreign program; return what it did."""
    return subprocess.run([KEYGEN, *map(str, words)], input=content, capture_output=True)


def ssh_verifies(folder, file):
    """Whether ssh-keygen takes the signature of a file to be by the key `mine`."""
    (folder / "signers").write_bytes(b"shop " + (folder / "mine.pub").read_bytes())
    options = ("-f", folder / "signers", "-I", "shop", "-n", "fringe", "-s", f"{file}.sig")
    return ssh_keygen("-Y", "verify", *options, content=file.read_bytes()).returncode == 0


def no_passphrase(path):
    raise BadInput(f"{path}: is encrypted")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """An archive of one surface with two visits, two keys, and the archive's signed history."""
    folder = tmp_path_factory.mktemp("made")
    surface = full_surface(folder / "shop", "one")
    for i in range(2):
        log_visit(surface, plain_visit(str(i)), now=hours(i))
    for name in ("mine", "other"):
        write_key(folder / name)
    return folder


@pytest.fixture
def here(made, tmp_path, monkeypatch):
    """A copy of it to work in."""
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def signed(here, capsys):
    """The signed history of the archive."""
    answer = call(capsys, "check", "shop", "--sign", "mine", "--json")
    assert answer.status == 0, answer.err
    return here / answer.json["signed"]["file"]


def test_signed_and_verified(here, signed, capsys):
    """The text names archive, digest and time; it verifies, also after more was logged."""
    lines = dict(line.split(": ") for line in signed.read_text().splitlines()[1:])
    assert list(lines) == ["archive", "digest", "time"]
    assert lines["archive"] == '"shop"'
    log_visit(full_surface(here / "shop", "two"), plain_visit("more"), now=hours(9))
    words = ("check", "shop", "--signed", signed.name, "--by", "mine.pub")
    answer = call(capsys, *words, "--json")
    assert answer.status == 0
    assert answer.json["signed"]["digest"] == lines["digest"] != answer.json["digest"]
    text = call(capsys, *words).out
    assert f"Signed by {answer.json['signed']['key']}, {lines['time']}" in text


def test_no_longer_contained(here, signed, capsys):
    """A good signature of a history that was taken away since is exit 1."""
    session_files(here / "shop" / "one")[-1].unlink()
    ledger = here / "shop" / LEDGER
    ledger.write_bytes(b"".join(ledger.read_bytes().splitlines(keepends=True)[:-1]))
    answer = call(capsys, "check", "shop", "--signed", signed.name, "--by", "mine.pub")
    assert (answer.status, "is not contained" in answer.out) == (1, True)


@foreign
def test_ssh_keygen_verifies(here, signed):
    """OpenSSH takes the signature, and no other text with it."""
    assert ssh_verifies(here, signed)
    signed.write_bytes(signed.read_bytes().replace(b"shop", b"shed"))
    assert not ssh_verifies(here, signed)


@foreign
@pytest.mark.parametrize(
    ("namespace", "hashed", "says"),
    [
        ("fringe", "sha512", None),
        ("fringe", "sha256", None),
        ("file", "sha512", "namespace 'file', not 'fringe'"),
    ],
)
def test_signed_by_ssh_keygen(here, namespace, hashed, says):
    """What OpenSSH signs for fringe verifies, by either hash; for another use it does not."""
    file = here / "text"
    file.write_bytes(b"any content\n")
    (here / "mine").chmod(0o600)
    options = ("-f", here / "mine", "-n", namespace, "-O", f"hashalg={hashed}")
    assert ssh_keygen("-Y", "sign", *options, file).returncode == 0
    place = here / "text.sig"
    words = (file.read_bytes(), place.read_bytes(), load_public_key(here / "mine.pub"), place)
    if says is None:
        verify(*words)
    else:
        with pytest.raises(BadInput, match=says):
            verify(*words)


def flipped(path, at):
    """Change one byte of a file."""
    data = bytearray(path.read_bytes())
    data[at] ^= 1
    path.write_bytes(data)


def other_bytes(path):
    """Change the signature's own last byte, within a whole armour."""
    first, *rows, last = path.read_bytes().splitlines()
    blob = bytearray(base64.b64decode(b"".join(rows)))
    blob[-1] ^= 1
    path.write_bytes(b"\n".join([first, base64.b64encode(blob), last, b""]))


ALTERED = {
    "text": (lambda f: flipped(f, 70), "does not fit"),
    "signature": (lambda f: other_bytes(f.with_name(f.name + ".sig")), "does not fit"),
    "no armour": (lambda f: f.with_name(f.name + ".sig").write_bytes(b"x"), "is no signature"),
    "cut off": (
        lambda f: f.with_name(f.name + ".sig").write_bytes(
            b"-----BEGIN SSH SIGNATURE-----\nU1NIU0lHAAAAAQAAADM=\n-----END SSH SIGNATURE-----\n"
        ),
        "is no signature that can be verified (it ends too early)",
    ),
    "no signature": (lambda f: f.with_name(f.name + ".sig").unlink(), "there is no such file"),
    "no text": (lambda f: f.unlink(), "there is no such file"),
}


@pytest.mark.parametrize("what", ALTERED)
def test_altered(what, signed, capsys):
    """What was altered since is refused in one line."""
    alter, says = ALTERED[what]
    alter(signed)
    assert says in refused(capsys, "check", "shop", "--signed", signed.name, "--by", "mine.pub")


def test_no_byte_of_a_signature_is_free(here, signed):
    """No flip of a bit of the decoded signature verifies, and none fails otherwise."""
    place = here / f"{signed.name}.sig"
    by, content = load_public_key(here / "mine.pub"), signed.read_bytes()
    first, *rows, last = place.read_bytes().splitlines()
    blob = base64.b64decode(b"".join(rows))
    for at in range(len(blob)):
        changed = blob[:at] + bytes([blob[at] ^ (1 << at % 8)]) + blob[at + 1 :]
        armoured = b"\n".join([first, base64.b64encode(changed), last, b""])
        with pytest.raises(BadInput):
            verify(content, armoured, by, place)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--signed", "@", "--by", "other.pub"), "is by the key SHA256:"),
        (("--signed", "@", "--by", "mine"), "is no public key of OpenSSH"),
        (("--signed", "@"), "--signed and --by belong together"),
        (("--by", "mine.pub"), "--signed and --by belong together"),
        (("--signed", "@", "--by", "mine.pub", "--expect", "0"), "goes with neither"),
        (("--sign", "mine.pub"), "mine.pub: is no private key of OpenSSH"),
        (("--sign", "gone"), "gone: there is no such file"),
    ],
)
def test_wrong_words(words, says, here, signed, capsys):
    """Another key, what is no key, and options that do not fit are refused in one line."""
    before = sorted(here.iterdir())
    words = [signed.name if word == "@" else word for word in words]
    assert says in refused(capsys, "check", "shop", *words)
    assert sorted(here.iterdir()) == before


def test_a_signed_file_that_is_no_history(here, capsys):
    """A good signature over another text stands for no history."""
    (here / "page").write_bytes(b"a page\n")
    key = load_signing_key(here / "mine", no_passphrase)
    (here / "page.sig").write_bytes(key.signature(b"a page\n"))
    line = refused(capsys, "check", "shop", "--signed", "page", "--by", "mine.pub")
    assert "the file is no signed history" in line


def test_only_a_sound_history_is_signed(here, capsys):
    """Where the check finds something it signs nothing, and says so."""
    session_files(here / "shop" / "one")[0].unlink()
    answer = call(capsys, "check", "shop", "--sign", "mine")
    assert (answer.status, "nothing was signed" in answer.err) == (1, True)
    assert list(here.glob("history-*")) == []


def test_an_encrypted_key(here, capsys, monkeypatch):
    """Its passphrase is asked for at a terminal; without one, or with another, it is one line."""
    write_key(here / "locked", "secret")
    assert "locked: is encrypted" in refused(capsys, "check", "shop", "--sign", "locked")
    key = load_signing_key(here / "locked", lambda _: "secret")
    assert key.public.fingerprint == load_public_key(here / "locked.pub").fingerprint
    monkeypatch.setattr("fringe.cli.asking._at_a_terminal", lambda: True)
    monkeypatch.setattr("fringe.cli.asking.click.prompt", lambda *_, **__: "wrong")
    assert "locked: is no private key" in refused(capsys, "check", "shop", "--sign", "locked")


def test_without_the_extra(here, signed, capsys, monkeypatch):
    """Where the library is not installed one line names the extra, and nothing else needs it."""
    monkeypatch.setitem(sys.modules, "cryptography.hazmat.primitives", None)
    for words in (("--sign", "mine"), ("--signed", signed.name, "--by", "mine.pub")):
        assert "need the extra `sign`" in refused(capsys, "check", "shop", *words)
    assert call(capsys, "check", "shop").status == 0


def test_a_signed_report(here, capsys):
    """The page's signature lies beside it, and is never overwritten."""
    words = ("report", "shop/one", "--out", "page.html", "--sign", "mine")
    answer = call(capsys, *words)
    assert (answer.status, "signed in page.html.sig" in answer.out) == (0, True)
    page, place = here / "page.html", here / "page.html.sig"
    verify(page.read_bytes(), place.read_bytes(), load_public_key(here / "mine.pub"), place)
    if KEYGEN:
        assert ssh_verifies(here, page)
    before = page.read_bytes(), place.read_bytes()
    assert "is there already" in refused(capsys, *words)
    assert (page.read_bytes(), place.read_bytes()) == before


def test_no_history_is_not_signed(here, capsys):
    """An archive without a line in its ledger has nothing to sign."""
    (here / "new").mkdir()
    assert "has no history to sign yet" in refused(capsys, "check", "new", "--sign", "mine")
