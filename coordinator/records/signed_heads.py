"""Heads of the record store, signed: what the records were at one moment, told by who has the key.

A chain of digests finds damage and careless change; whoever can write the store can compute it
anew. He lacks the key, which does not lie beside the records, and the heads that were kept
elsewhere. Each head names how many rows there were, the root of a Merkle tree over them, and the
last commit of the run's journal.

Invariants: RC13, no row that a signed head covers is changed, taken out or put in unseen.
"""

import base64
import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from coordinator.records.event_codec import canonical

FORM = 1
OTHERS = 0o077
"""Rights of others on a file."""
SHOWN = 16
"""Digits of a fingerprint that people compare."""
_KINDS = {"rows": int, "commits": int}
"""Of the fields that are no text."""
_RAW, _PEM = serialization.Encoding.Raw, serialization.Encoding.PEM


class HeadFailed(Exception):  # noqa: N818 (it says what happened)
    """A key or a head cannot be read or made. Code REC004."""


def merkle_root(leaves: Sequence[bytes]) -> bytes:
    """Return the root of a Merkle tree, SHA-256.

    Source:
        RFC 6962, section 2.1: MTH({}) = H(), MTH({d}) = H(0x00 || d), and for more
        H(0x01 || MTH(first k) || MTH(rest)), k the largest power of two below their number.
    """
    if not leaves:
        return hashlib.sha256().digest()
    level = [hashlib.sha256(b"\x00" + leaf).digest() for leaf in leaves]
    # Pairs from the left; a last one without partner rises as it is: the same tree.
    while len(level) > 1:
        pairs = [level[place : place + 2] for place in range(0, len(level), 2)]
        level = [
            hashlib.sha256(b"\x01" + pair[0] + pair[1]).digest() if len(pair) == 2 else pair[0]
            for pair in pairs
        ]
    return level[0]


@dataclass(frozen=True, slots=True)
class SignedHead:
    """What the records and one run's journal were at a moment."""

    run: str
    rows: int
    """Of the whole store."""
    root: str
    """Of the Merkle tree over the digests of these rows, hexadecimal."""
    commits: int
    """Of the run's journal; 0 where it was not at hand."""
    journal: str
    """Digest of the last of them."""
    at: str
    """UTC, RFC 3339."""
    key: str
    """Fingerprint of the key: SHA-256 of the public key, hexadecimal."""
    signature: str = ""
    """Ed25519 over everything else, base64."""

    def signed_bytes(self) -> bytes:
        """Return what the signature is over."""
        told = asdict(self) | {"bothsides_head": FORM}
        del told["signature"]
        return canonical(told).encode()

    def to_text(self) -> str:
        """Return the head as a file holds it."""
        return json.dumps({"bothsides_head": FORM} | asdict(self), indent=1) + "\n"


def read_head(path: Path) -> SignedHead:
    """Read a head that was kept.

    Raises:
        HeadFailed: REC004, it cannot be read or is none.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if data.pop("bothsides_head") != FORM:
            raise ValueError
        head = SignedHead(**data)
        if any(type(value) is not _KINDS.get(name, str) for name, value in asdict(head).items()):
            raise ValueError
    except OSError as error:
        raise HeadFailed(f"{path}: {error.strerror}; name the file of a head [REC004]") from None
    except (ValueError, TypeError, KeyError, AttributeError):
        raise HeadFailed(f"{path}: is no signed head; name the file of one [REC004]") from None
    return head


def key_path() -> Path:
    """Return where the key of this user is, away from the records."""
    if named := os.environ.get("BOTHSIDES_RECORDS_KEY"):
        return Path(named)
    config = os.environ.get("XDG_CONFIG_HOME") or "~/.config"
    return Path(config).expanduser() / "bothsides" / "records.key"


def own_key(path: Path) -> Ed25519PrivateKey:
    """Return the key at a path, made there if there is none, its public half beside it.

    Raises:
        HeadFailed: REC004, it cannot be read or made, or others may read it.
    """
    try:
        if not path.exists():
            _make_key(path)
        if path.stat().st_mode & OTHERS:
            raise HeadFailed(
                f"{path}: others may read it, must be its owner's alone; chmod 600 it, and make a "
                "new one if somebody may have read it [REC004]"
            )
        key = serialization.load_pem_private_key(path.read_bytes(), None)
    except OSError as error:
        raise HeadFailed(f"{path}: {error.strerror}; name another key [REC004]") from None
    except (ValueError, TypeError):
        raise HeadFailed(f"{path}: is no key in PEM; name another [REC004]") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise HeadFailed(f"{path}: is no Ed25519 key; name another [REC004]")
    return key


def _make_key(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    key = Ed25519PrivateKey.generate()
    plain, private = serialization.NoEncryption(), serialization.PrivateFormat.PKCS8
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(key.private_bytes(_PEM, private, plain))
    spki = serialization.PublicFormat.SubjectPublicKeyInfo
    path.with_suffix(".pub").write_bytes(key.public_key().public_bytes(_PEM, spki))


def public_key(path: Path) -> Ed25519PublicKey:
    """Read a public key.

    Raises:
        HeadFailed: REC004, it cannot be read or is none.
    """
    try:
        key = serialization.load_pem_public_key(path.read_bytes())
    except OSError as error:
        raise HeadFailed(f"{path}: {error.strerror}; name a public key [REC004]") from None
    except (ValueError, TypeError):
        raise HeadFailed(f"{path}: is no public key in PEM; name another [REC004]") from None
    if not isinstance(key, Ed25519PublicKey):
        raise HeadFailed(f"{path}: is no Ed25519 key; name another [REC004]")
    return key


def fingerprint(key: Ed25519PublicKey) -> str:
    """Return what people compare to know a key again."""
    raw = key.public_bytes(_RAW, serialization.PublicFormat.Raw)
    return hashlib.sha256(raw).hexdigest()


def signed(head: SignedHead, key: Ed25519PrivateKey) -> SignedHead:
    """Return a head with the key's fingerprint and signature."""
    named = {**asdict(head), "key": fingerprint(key.public_key()), "signature": ""}
    bare = SignedHead(**named)
    signature = base64.b64encode(key.sign(bare.signed_bytes())).decode()
    return SignedHead(**{**named, "signature": signature})


def is_signed_by(head: SignedHead, key: Ed25519PublicKey) -> bool:
    """Return whether a head is as whoever has the key has signed it."""
    try:
        key.verify(base64.b64decode(head.signature, validate=True), head.signed_bytes())
    except (InvalidSignature, ValueError):
        return False
    return head.key == fingerprint(key)


def root_of(digests: Sequence[str]) -> str:
    """Return the root over the digests of rows, in their order."""
    return merkle_root([bytes.fromhex(one) for one in digests]).hex()
