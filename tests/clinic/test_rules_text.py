"""Text is taken as it stands or refused with the reason."""

import pytest

from clinic.rules.text import TextFault, is_blank, text_fault


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
        pytest.param("a\u200fb", None, None, id="right-to-left-mark"),
        pytest.param("", TextFault.BLANK, TextFault.BLANK, id="empty"),
        pytest.param("  \u00a0\u3000", TextFault.BLANK, TextFault.BLANK, id="spaces"),
        pytest.param("\u200b\ufeff", TextFault.BLANK, TextFault.BLANK, id="invisible"),
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
