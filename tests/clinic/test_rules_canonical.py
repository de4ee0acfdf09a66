"""Signed content has one spelling, and whatever has more than one is refused."""

import hashlib
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.enums import DocumentState
from clinic.rules.canonical import MAX_DEPTH, FreezeFault, NotFreezable, digest, freeze


def nested(depth, *, leaf=None):
    """An object whose lists reach the depth asked for."""
    value = leaf
    for _ in range(depth - 1):
        value = [value]
    return {"a": value}


def test_a_note_is_frozen_without_spaces_and_with_sorted_names():
    """Names are sorted at every level, lists keep their order, no character is wasted."""
    content = {"plan": "go on", "minutes": 45, "goals": [{"number": 2, "met": False}, None], "a": True}
    assert freeze(content) == (b'{"a":true,"goals":[{"met":false,"number":2},null],"minutes":45,"plan":"go on"}')


def test_order_of_writing_changes_nothing():
    """The same content put together in another order is the same bytes and the same digest."""
    first, second = freeze({"a": 1, "b": {"c": 2, "d": 3}}), freeze({"b": {"d": 3, "c": 2}, "a": 1})
    assert first == second
    assert digest(first) == digest(second)


def test_letters_are_never_normalized():
    """One letter in two spellings of Unicode stays two texts: what was signed is what was typed."""
    assert digest(freeze({"name": "\u00e9"})) != digest(freeze({"name": "e\u0301"}))


def test_a_code_is_frozen_as_its_text():
    """A status from a list of codes is frozen as the code."""
    assert freeze({"state": DocumentState.ENTERED_IN_ERROR}) == b'{"state":"entered-in-error"}'


@pytest.mark.parametrize(
    ("content", "code", "pointer"),
    [
        pytest.param({"a": 1.0}, FreezeFault.UNSUPPORTED_TYPE, "/a", id="float"),
        pytest.param({"a": float("nan")}, FreezeFault.UNSUPPORTED_TYPE, "/a", id="nan"),
        pytest.param({"a": (1, 2)}, FreezeFault.UNSUPPORTED_TYPE, "/a", id="tuple"),
        pytest.param({"a": b"x"}, FreezeFault.UNSUPPORTED_TYPE, "/a", id="bytes"),
        pytest.param({"a": [0, {"b/c~": {1, 2}}]}, FreezeFault.UNSUPPORTED_TYPE, "/a/1/b~1c~0", id="set"),
        pytest.param({"a": 2**53}, FreezeFault.INTEGER_TOO_LARGE, "/a", id="large-integer"),
        pytest.param({"a": -(2**53)}, FreezeFault.INTEGER_TOO_LARGE, "/a", id="large-negative-integer"),
        pytest.param({"a": "x\x00y"}, FreezeFault.NUL_CHARACTER, "/a", id="nul"),
        pytest.param({"a": "x\ud800y"}, FreezeFault.LONE_SURROGATE, "/a", id="high-surrogate"),
        pytest.param({"a": ["\udfff"]}, FreezeFault.LONE_SURROGATE, "/a/0", id="low-surrogate"),
        pytest.param({"a": {"\ud800": 1}}, FreezeFault.LONE_SURROGATE, "/a", id="surrogate-in-a-name"),
        pytest.param({"x\x00": 1}, FreezeFault.NUL_CHARACTER, "", id="nul-in-a-name"),
        pytest.param({"a": {1: 2}}, FreezeFault.KEY_NOT_TEXT, "/a", id="number-as-a-name"),
        pytest.param({None: 2}, FreezeFault.KEY_NOT_TEXT, "", id="nothing-as-a-name"),
        pytest.param([{"a": 1}], FreezeFault.NOT_AN_OBJECT, "", id="list-at-the-root"),
        pytest.param("a", FreezeFault.NOT_AN_OBJECT, "", id="text-at-the-root"),
        pytest.param(None, FreezeFault.NOT_AN_OBJECT, "", id="nothing-at-the-root"),
    ],
)
def test_what_cannot_be_frozen(content, code, pointer):
    """A refusal says what is wrong and where."""
    with pytest.raises(NotFreezable) as refused:
        freeze(content)
    assert (refused.value.code, refused.value.pointer) == (code, pointer)


def test_the_largest_integers_are_frozen():
    """Every integer that a double holds exactly is frozen as it stands."""
    assert freeze({"a": [2**53 - 1, -(2**53) + 1, 0]}) == b'{"a":[9007199254740991,-9007199254740991,0]}'


def test_depth_is_limited():
    """Forty levels are frozen, the forty-first is refused."""
    assert freeze(nested(MAX_DEPTH)) == b'{"a":' + b"[" * 39 + b"null" + b"]" * 39 + b"}"
    with pytest.raises(NotFreezable) as refused:
        freeze(nested(MAX_DEPTH + 1))
    assert refused.value.code == FreezeFault.TOO_DEEP


@pytest.mark.parametrize("depth", [100_000])
def test_content_nested_very_deep_is_a_refusal_and_no_crash(depth):
    """A hundred thousand nested lists meet the limit, not the interpreter's."""
    with pytest.raises(NotFreezable) as refused:
        freeze(nested(depth))
    assert refused.value.code == FreezeFault.TOO_DEEP


def test_content_that_holds_itself_is_refused():
    """A circle is too deep, and ends."""
    content = {}
    content["a"] = [content]
    with pytest.raises(NotFreezable) as refused:
        freeze(content)
    assert refused.value.code == FreezeFault.TOO_DEEP


def test_digest_is_sha256_in_hexadecimal():
    """The digest of frozen content is its SHA-256."""
    assert digest(freeze({})) == hashlib.sha256(b"{}").hexdigest()


text = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"))
scalars = st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | text
trees = st.recursive(scalars, lambda inner: st.lists(inner) | st.dictionaries(text, inner), max_leaves=20)


@settings(deadline=None)
@given(content=st.dictionaries(text, trees))
def test_frozen_content_reads_back_as_it_was(content):
    """Whatever is frozen can be read again, and freezing what was read gives the same bytes."""
    frozen = freeze(content)
    assert json.loads(frozen) == content
    assert freeze(json.loads(frozen)) == frozen
