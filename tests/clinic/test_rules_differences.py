"""What changed between two versions, by member and word by word."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.rules.differences import Difference, Piece, PieceKind, differences, text_pieces

KEPT, REMOVED, ADDED = PieceKind.KEPT, PieceKind.REMOVED, PieceKind.ADDED
TEXTS = st.lists(st.sampled_from(["she ", "sat ", "\n", "down. ", "  "]), max_size=30).map("".join)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(0, 3) | st.sampled_from(["a b", "a c"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from("xy/~"), inner, max_size=3),
    max_leaves=12,
)


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        pytest.param({"minutes": 45}, {"minutes": 45}, [], id="the-same"),
        pytest.param({"minutes": 45}, {"minutes": 30}, [("/minutes", 45, 30)], id="another-number"),
        pytest.param({}, {"plan": "Go on."}, [("/plan", None, "Go on.")], id="a-member-more"),
        pytest.param({"plan": "Go on."}, {}, [("/plan", "Go on.", None)], id="a-member-less"),
        pytest.param({"a": True}, {"a": 1}, [("/a", True, 1)], id="true-is-not-one"),
        pytest.param({"x/y": 1}, {"x/y": 2}, [("/x~1y", 1, 2)], id="a-pointer-is-escaped"),
        pytest.param(
            {"m": [{"g": 1, "n": 6}, {"g": 2, "n": 7}]},
            {"m": [{"g": 1, "n": 6}, {"g": 2, "n": 8}]},
            [("/m/1/n", 7, 8)],
            id="one-of-a-list",
        ),
        pytest.param({"m": [2, 3]}, {"m": [1, 2, 3]}, [("/m/0", None, 1)], id="put-in-before-the-others"),
        pytest.param({"m": [1, 2, 3]}, {"m": [1, 3]}, [("/m/1", 2, None)], id="taken-out"),
    ],
)
def test_differences(before, after, found):
    """Only what is not the same is told, each with its place."""
    assert [(one.pointer, one.before, one.after) for one in differences(before, after)] == found


def test_a_text_is_told_word_by_word():
    """What stayed is there once, what went and what came each where it stood."""
    before, after = "Fastened seven of ten buttons alone.", "Fastened six of ten buttons with a touch."
    assert differences({"objective": before}, {"objective": after}) == [
        Difference(
            "/objective",
            before,
            after,
            (
                Piece(KEPT, "Fastened"),
                Piece(REMOVED, " seven"),
                Piece(ADDED, " six"),
                Piece(KEPT, " of ten buttons"),
                Piece(REMOVED, " alone."),
                Piece(ADDED, " with a touch."),
            ),
        )
    ]


def sides(pieces) -> tuple[str, str]:
    return tuple("".join(piece.text for piece in pieces if piece.kind != left) for left in (ADDED, REMOVED))


@given(TEXTS, TEXTS)
def test_pieces_make_up_both_texts(before, after):
    """Kept and removed are the earlier text, kept and added the later, to the last space."""
    assert sides(text_pieces(before, after)) == (before, after)


@given(JSON, JSON)
def test_nothing_is_told_of_what_is_the_same(before, after):
    """A value differs from itself in nothing, and from another in something."""
    assert differences(before, before) == []
    alike = json.dumps(before, sort_keys=True) == json.dumps(after, sort_keys=True)
    assert bool(differences(before, after)) is not alike


def test_the_longest_texts_are_told_whole():
    """Two sections as long as a note takes, of which nothing matches at either end, are not compared pair by pair."""
    before, after = "a b " * 5000, "b a " * 5000
    assert [piece.kind for piece in text_pieces(before, after)] == [REMOVED, ADDED, KEPT]
    assert sides(text_pieces(before, after)) == (before, after)
