"""Keyed hashes against the published test cases of HMAC-SHA-256."""

import hmac

import pytest

from clinic.rules.seals import keyed_hash


# Source: RFC 4231, sections 4.2, 4.3, 4.4, 4.6 (cut to 128 bits) and 4.7; written down from memory, and held against
# Python's own hmac below.
@pytest.mark.parametrize(
    ("key", "data", "printed"),
    [
        pytest.param(
            b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7", id="case 1"
        ),
        pytest.param(
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
            id="case 2",
        ),
        pytest.param(
            b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe", id="case 3"
        ),
        pytest.param(b"\x0c" * 20, b"Test With Truncation", "a3b6167473100ee06e0c796c2955552b", id="case 5"),
        pytest.param(
            b"\xaa" * 131,
            b"Test Using Larger Than Block-Size Key - Hash Key First",
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
            id="case 6",
        ),
    ],
)
def test_keyed_hashes_are_the_printed_ones(key, data, printed):
    """Short keys, keys of a block and longer ones; as much of the hash as is printed."""
    assert keyed_hash(key, data).hex().startswith(printed)
    assert keyed_hash(key, data) == hmac.digest(key, data, "sha256")
