"""Text is taken as it stands or refused with the reason."""

import pytest

from clinic.rules.text import TextFault, is_blank, name_fault, text_fault


@pytest.mark.parametrize(
    ("value", "one_line", "lines"),
    [
        pytest.param("Ana", None, None, id="name"),
        pytest.param("Zo\u00eb O'Ne\u00eel-\u0141uk", None, None, id="accents"),
        pytest.param("\u05d3\u05d5\u05d3 \u0623\u062d\u0645\u062f \U0001f600", None, None, id="other-scripts"),
        pytest.param("a" * 40, None, None, id="longest"),
        pytest.param("a" * 41, TextFault.TOO_LONG, TextFault.TOO_LONG, id="one-too-long"),
        pytest.param("a" * 100_000, TextFault.TOO_LONG, TextFault.TOO_LONG, id="100000"),
        pytest.param("a\x00b", TextFault.CONTROL_CHARACTER, TextFault.CONTROL_CHARACTER, id="nul"),
        pytest.param("a\x07b", TextFault.CONTROL_CHARACTER, TextFault.CONTROL_CHARACTER, id="bell"),
        pytest.param("a\x1bb", TextFault.CONTROL_CHARACTER, TextFault.CONTROL_CHARACTER, id="escape"),
        pytest.param("a\x7fb", TextFault.CONTROL_CHARACTER, TextFault.CONTROL_CHARACTER, id="delete"),
        pytest.param("a\x85b", TextFault.CONTROL_CHARACTER, TextFault.CONTROL_CHARACTER, id="c1"),
        pytest.param("a\x0bb", TextFault.CONTROL_CHARACTER, TextFault.CONTROL_CHARACTER, id="vertical-tab"),
        pytest.param("a\nb", TextFault.CONTROL_CHARACTER, None, id="line-feed"),
        pytest.param("a\r\nb", TextFault.CONTROL_CHARACTER, None, id="carriage-return"),
        pytest.param("a\tb", TextFault.CONTROL_CHARACTER, None, id="tab"),
        pytest.param("a\u2028b", TextFault.CONTROL_CHARACTER, None, id="line-separator"),
        pytest.param("a\ud800", TextFault.LONE_SURROGATE, TextFault.LONE_SURROGATE, id="high-surrogate"),
        pytest.param("\udc00a", TextFault.LONE_SURROGATE, TextFault.LONE_SURROGATE, id="low-surrogate"),
        pytest.param("a\u202eb", TextFault.BIDI_CONTROL, None, id="override"),
        pytest.param("a\u202ab", TextFault.BIDI_CONTROL, None, id="embedding"),
        pytest.param("a\u2066b", TextFault.BIDI_CONTROL, None, id="isolate"),
        pytest.param("a\u2069b", TextFault.BIDI_CONTROL, None, id="end-of-isolate"),
        pytest.param("a\u200fb", TextFault.BIDI_CONTROL, None, id="right-to-left-mark"),
        pytest.param("", TextFault.BLANK, TextFault.BLANK, id="empty"),
        pytest.param("  \u00a0\u3000", TextFault.BLANK, TextFault.BLANK, id="spaces"),
        pytest.param("\u200b\ufeff", TextFault.HIDDEN_CHARACTER, TextFault.BLANK, id="invisible"),
        pytest.param("A\u200bna", TextFault.HIDDEN_CHARACTER, None, id="zero-width-space"),
        pytest.param("A\u00adna", TextFault.HIDDEN_CHARACTER, None, id="soft-hyphen"),
        pytest.param("An\ufeffa", TextFault.HIDDEN_CHARACTER, None, id="byte-order-mark"),
        pytest.param("An\U000e0041a", TextFault.HIDDEN_CHARACTER, None, id="tag"),
        pytest.param("\u2764\ufe0f \U0001f469\u200d\U0001f467", None, None, id="emoji"),
        pytest.param("\n \t\n", TextFault.CONTROL_CHARACTER, TextFault.BLANK, id="empty-lines"),
        pytest.param(" Ana ", None, None, id="spaces-around-are-kept"),
    ],
)
def test_text_fault(value, one_line, lines):
    """A name and a note refuse the same, but a note has lines and may steer its own writing direction."""
    assert text_fault(value, max_length=40) == one_line
    assert text_fault(value, max_length=40, multiline=True) == lines


def test_length_is_counted_in_characters():
    """A character outside the basic plane counts as one."""
    assert text_fault("\U0001f600" * 40, max_length=40) is None


@pytest.mark.parametrize(("value", "blank"), [("", True), (" \u200b", True), (" .", False)])
def test_is_blank(value, blank):
    """Blank is what shows nothing."""
    assert is_blank(value) is blank


@pytest.mark.parametrize(
    ("value", "fault"),
    [
        pytest.param("Ana Brightwater, OTA", None, id="with-letters-behind"),
        pytest.param("Zo\u00eb O'Ne\u00eel-\u0141uk", None, id="accents"),
        pytest.param("J\u00f6rg (Bobby) 2nd", None, id="punctuation-and-digits"),
        pytest.param("M\u00aa Carmen", None, id="ordinal-abbreviation"),
        pytest.param("Nguy\u1ec5n Th\u1ecb \u00c1nh", None, id="stacked-accents"),
        pytest.param("\u0421\u0432\u0435\u0442\u043b\u0430\u043d\u0430", None, id="Cyrillic"),
        pytest.param("\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645", None, id="joiner-in-Persian"),
        pytest.param("\u0915\u094d\u200d\u0937", None, id="joiner-in-Devanagari"),
        pytest.param("\u0e08\u0e33\u0e1b\u0e32", None, id="Thai-with-sara-am"),
        pytest.param("\u5c71\u7530 \u30bf\u30ed\u30a6", None, id="Japanese"),
        pytest.param("A\u200cna", TextFault.HIDDEN_CHARACTER, id="joiner-in-Latin"),
        pytest.param("Ana\u200d", TextFault.HIDDEN_CHARACTER, id="joiner-at-the-end"),
        pytest.param("Ana\ufe0f", TextFault.HIDDEN_CHARACTER, id="variation"),
        pytest.param("Ana\ue000", TextFault.UNKNOWN_CHARACTER, id="private"),
        pytest.param("Ana\uffff", TextFault.UNKNOWN_CHARACTER, id="no-character"),
        pytest.param("Zoe\u0308", TextFault.NOT_NORMALIZED, id="decomposed"),
        pytest.param("\uff21na", TextFault.NOT_NORMALIZED, id="wide"),
        pytest.param("\U0001d400na", TextFault.NOT_NORMALIZED, id="mathematical"),
        pytest.param(" Ana", TextFault.ODD_SPACES, id="space-before"),
        pytest.param("Ana ", TextFault.ODD_SPACES, id="space-behind"),
        pytest.param("Ana  Brandt", TextFault.ODD_SPACES, id="two-spaces"),
        pytest.param("Ana\u00a0Brandt", TextFault.ODD_SPACES, id="no-break-space"),
        pytest.param("\u0410na", TextFault.MIXED_SCRIPTS, id="Cyrillic-capital-in-Latin"),
        pytest.param("Q" + "\u0308" * 5, TextFault.TOO_MANY_MARKS, id="marks-upon-marks"),
        pytest.param("a" * 41, TextFault.TOO_LONG, id="too-long"),
        pytest.param("a\u202eb", TextFault.BIDI_CONTROL, id="override"),
    ],
)
def test_name_fault(value, fault):
    """A name is refused when another one would look the same; the spellings of the world's names are taken."""
    assert name_fault(value, max_length=40) == fault
