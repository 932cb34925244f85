"""Sealed clues: opened by their own key only, of one size, the same bytes each time."""

import hashlib

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESSIV
from hypothesis import given
from hypothesis import strategies as st

from rca.errors import RcaError
from rca.show.exercise.seal import key_of, opened, sealed

KEY = key_of("abcd-efgh-ijkl", "bench-supply", "token")
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-1000, 1000) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=10,
)


def test_the_cipher_is_that_of_rfc_5297():
    """Example A.1 of RFC 5297 (values typed from memory of the standard)."""
    key = bytes.fromhex("fffefdfcfbfaf9f8f7f6f5f4f3f2f1f0f0f1f2f3f4f5f6f7f8f9fafbfcfdfeff")
    head = bytes.fromhex("101112131415161718191a1b1c1d1e1f2021222324252627")
    plain = bytes.fromhex("112233445566778899aabbccddee")
    done = AESSIV(key).encrypt(plain, [head])
    assert done.hex() == "85632d07c6e8f37f950acd320a2ecc9340c02b9690c4dc04daef7f6afe5c"


@given(PLAIN)
def test_what_was_sealed_comes_back(content):
    assert opened(sealed(content, key=KEY, size=2048), key=KEY) == content


@given(st.text(max_size=300))
def test_every_clue_has_the_same_size_and_the_same_bytes_again(text):
    done = sealed({"text": text}, key=KEY, size=2048)
    assert len(done) == 2048
    assert done == sealed({"text": text}, key=KEY, size=2048)


def test_too_much_for_the_size_is_an_error_not_a_longer_file():
    noise = "".join(hashlib.sha256(bytes([n])).hexdigest() for n in range(20))
    with pytest.raises(RcaError, match="does not fit"):
        sealed(noise, key=KEY, size=256)


@pytest.mark.parametrize(
    "other",
    [
        key_of("abcd-efgh-ijkm", "bench-supply", "token"),
        key_of("abcd-efgh-ijkl", "bench-control", "token"),
        key_of("abcd-efgh-ijkl", "bench-supply"),
    ],
    ids=["another case", "another clue", "history not opened"],
)
def test_no_other_key_opens_it(other):
    with pytest.raises(RcaError, match="cannot be opened"):
        opened(sealed("the suction line", key=KEY, size=256), key=other)


@given(st.integers(0, 255), st.integers(1, 255))
def test_any_changed_byte_is_seen(place, change):
    done = bytearray(sealed("the suction line", key=KEY, size=256))
    done[place] ^= change
    with pytest.raises(RcaError):
        opened(bytes(done), key=KEY)


def test_nothing_of_the_content_can_be_read():
    done = sealed({"says": "suction line collapses"}, key=KEY, size=512)
    assert b"suction" not in done
    assert len(set(done)) > 150  # no padding shows
