"""The tree, the key and the text of a signed head."""

import os
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from coordinator.records.signed_heads import (
    HeadFailed,
    SignedHead,
    is_signed_by,
    merkle_root,
    own_key,
    public_key,
    read_head,
    signed,
)

LEAVES = (
    *("", "00", "10", "2021", "3031", "40414243"),
    *("5051525354555657", "606162636465666768696a6b6c6d6e6f"),
)
ROOTS = (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
"""Test vectors of the certificate-transparency project for the tree of RFC 6962 (from memory)."""
HEAD = SignedHead("run", 3, "ab", 2, "cd", "2030-01-01T00:00:00Z", "")


@pytest.mark.parametrize("count", range(1, 9))
def test_the_root_is_that_of_the_published_vectors(count: int) -> None:
    """RC13: one leaf to eight, by the vectors of RFC 6962's own implementation."""
    assert merkle_root([bytes.fromhex(one) for one in LEAVES[:count]]).hex() == ROOTS[count - 1]


def test_the_empty_tree_is_the_hash_of_nothing() -> None:
    """RC13: SHA-256 of the empty text, as FIPS 180-4 examples have it."""
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert merkle_root([]).hex() == empty


def test_a_key_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    """RC13: with its public half beside it; the same key is found again."""
    path = tmp_path / "deep" / "records.key"
    key = own_key(path)

    assert path.stat().st_mode & 0o777 == 0o600
    head = signed(HEAD, own_key(path))
    assert is_signed_by(head, public_key(path.with_suffix(".pub")))
    assert is_signed_by(head, key.public_key())
    assert not is_signed_by(head, Ed25519PrivateKey.generate().public_key())


def test_a_key_that_others_may_read_is_refused(tmp_path: Path) -> None:
    """RC13: whoever has read it can sign."""
    path = tmp_path / "records.key"
    own_key(path)
    os.chmod(path, 0o644)

    with pytest.raises(HeadFailed, match="others may read it"):
        own_key(path)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"bothsides_head": 1}', '{"bothsides_head": 2}'])
def test_what_is_no_head_is_refused_with_its_place(tmp_path: Path, text: str) -> None:
    """Bad input gets a clear error."""
    path = tmp_path / "head.json"
    path.write_text(text)

    with pytest.raises(HeadFailed, match=r"head\.json: is no signed head"):
        read_head(path)


def test_a_head_reads_back_as_it_was(tmp_path: Path) -> None:
    """RC13: signed, written, read, still signed."""
    key = Ed25519PrivateKey.generate()
    path = tmp_path / "head.json"
    path.write_text(signed(HEAD, key).to_text())

    assert is_signed_by(read_head(path), key.public_key())
