"""What of two notes is alike: own words only, whatever the case and the spacing."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from scheduling.rules.similarity import (
    Passage,
    containment,
    may_contain,
    passages,
    resemblance,
    runs_of,
    shingles_of,
    word_set,
    words_in,
)

TEXTS = st.text(alphabet="ab .,\n'-", max_size=60)


def shingles(text: str, without=()) -> frozenset:
    return shingles_of(runs_of({"objective": text}, without=without))


def test_words_leave_case_and_punctuation_aside():
    """Spacing, line ends, case and marks make no other word; an apostrophe inside one stays."""
    said = [word.text for word in words_in("She DIDN'T sit;\n  self-fed: 7/10.")]
    assert said == ["she", "didn't", "sit", "self-fed", "7", "10"]


def test_shingles_do_not_span_sections():
    """The end of one section and the beginning of the next are not next to each other."""
    both = shingles_of(runs_of({"subjective": "one two three four", "objective": "five six seven"}))
    assert both == {("one", "two", "three", "four")}


def test_a_phrase_left_out_leaves_a_gap():
    """The name of an activity is not the author's own, and what stands beside it does not move together."""
    found = shingles("she began the Vest on a Stand with both hands free", without=["vest on a stand", " "])
    assert found == {("with", "both", "hands", "free")}
    longer = shingles("w x y vest on a stand", without=["vest", "vest on a stand"])
    assert longer == frozenset()


def test_passages_are_shown_as_they_were_written():
    """Overlapping shingles are one passage; two passages with other words between them are two."""
    mine = {"objective": "Seated at the table, Mia fastened BUTTONS. Then she rested a while on the mat."}
    runs = runs_of(mine)
    theirs = shingles("seated at the table mia fastened buttons then he rested a while on the mat")
    assert passages(mine, runs, shingles_of(runs) & theirs) == [
        Passage("objective", "Seated at the table, Mia fastened BUTTONS. Then"),
        Passage("objective", "rested a while on the mat"),
    ]
    assert passages(mine, runs, frozenset()) == []


@given(TEXTS, TEXTS)
def test_both_measures_keep_their_bounds(one, other):
    """From nothing to all; resemblance is mutual and never more than containment."""
    a, b = shingles(one), shingles(other)
    assert 0 <= resemblance(a, b) == resemblance(b, a) <= containment(a, b) <= 1 or not a
    assert containment(a, a) == (1 if a else 0)


@given(TEXTS, TEXTS, st.sampled_from([Fraction(1, 2), Fraction(4, 5), Fraction(1)]))
def test_the_cheap_look_misses_nothing(one, other, share):
    """Where the words rule a share out, the shingles do not reach it."""
    own = shingles(one)
    words = {word for shingle in own for word in shingle}
    if containment(own, shingles(other)) >= share and own:
        assert may_contain(words, word_set(other), shingles=len(own), share=share)


def test_the_cheap_look_spares_most():
    """Two texts with hardly a word in common are not compared; nor does one word more or less rule it out."""
    own = shingles("one two three four five six seven eight nine ten")
    words = {word for shingle in own for word in shingle}
    asked = {"shingles": len(own), "share": Fraction(4, 5)}
    assert not may_contain(words, word_set("eleven twelve one two"), **asked)
    assert may_contain(words, word_set("one two three four five six"), **asked)


@given(TEXTS, TEXTS)
def test_a_passage_stands_in_the_text(one, other):
    """Every passage is a piece of its section, and holds at least the words of one shingle."""
    mine = {"plan": one}
    runs = runs_of(mine)
    for passage in passages(mine, runs, shingles(other)):
        assert passage.text in one
        assert len(words_in(passage.text)) >= 4
