"""Merkle trees against the published test data of certificate transparency, and against the RFC's own recursion."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.rules.merkle import NoSuchLeaf, leaf_hash, path_of, root_by, root_of

# Source: the reference test data of certificate transparency (leaf inputs and the root of the first n of them), as
# published with its Go implementation in testonly/constants.go, read again in copies of it.
LEAVES = [
    bytes.fromhex(data)
    for data in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
# The audit path of leaf 0 of 8, from the same test data.
PATH_OF_FIRST = [
    "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
]


def by_the_text(data: list[bytes]) -> bytes:
    """RFC 6962, section 2.1, word by word: split at the largest power of two below n, hash both sides."""
    if not data:
        return hashlib.sha256().digest()
    if len(data) == 1:
        return hashlib.sha256(b"\x00" + data[0]).digest()
    split = 1 << ((len(data) - 1).bit_length() - 1)
    return hashlib.sha256(b"\x01" + by_the_text(data[:split]) + by_the_text(data[split:])).digest()


@pytest.mark.parametrize("size", range(9))
def test_roots_are_the_published_ones(size):
    """The root of the first n published leaves."""
    assert root_of([leaf_hash(data) for data in LEAVES[:size]]).hex() == ROOTS[size]


def test_a_path_is_the_published_one():
    """The audit path of the first of eight leaves."""
    assert [step.hex() for step in path_of([leaf_hash(data) for data in LEAVES], 0)] == PATH_OF_FIRST


@given(st.lists(st.binary(max_size=40), max_size=70))
def test_any_root_is_what_the_text_computes(data):
    """Level by level or by the RFC's recursion, the root is the same."""
    assert root_of([leaf_hash(one) for one in data]) == by_the_text(data)


@pytest.mark.parametrize("size", range(1, 34))
def test_each_leaf_has_a_path_to_the_root(size):
    """From each leaf its own path leads to the root; another leaf, a shorter path or a longer one does not."""
    leaves = [leaf_hash(bytes([number])) for number in range(size)]
    root = root_of(leaves)
    for position, leaf in enumerate(leaves):
        path = path_of(leaves, position)
        assert root_by(leaf, path, position=position, count=size) == root
        assert root_by(leaf_hash(b"another"), path, position=position, count=size) != root
        assert root_by(leaf, [*path, root], position=position, count=size) is None
        if path:
            assert root_by(leaf, path[:-1], position=position, count=size) is None
            assert root_by(leaf, [root, *path[1:]], position=position, count=size) != root


@pytest.mark.parametrize("position", [-1, 2])
def test_there_is_no_path_to_a_leaf_that_is_not_there(position):
    with pytest.raises(NoSuchLeaf):
        path_of([leaf_hash(b"a"), leaf_hash(b"b")], position)


def test_order_and_place_count():
    """The same leaves in another order, or an inner node in a leaf's place, give another root."""
    leaves = [leaf_hash(data) for data in LEAVES[:4]]
    assert root_of(leaves[::-1]) != root_of(leaves)
    assert leaf_hash(leaves[0] + leaves[1]) != root_of(leaves[:2])
