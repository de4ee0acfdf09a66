"""Which passwords may be chosen (NIST SP 800-63B-4, section 3.1.1.2, from memory)."""

import pytest

from clinic.rules.passwords import PasswordFault, normalized, password_fault

KNOWN = ["ana.brandt", "Ana Brandt", "Alder Yard Therapy"]


@pytest.mark.parametrize(
    ("password", "fault"),
    [
        pytest.param("purple kettle dune", None, id="a-few-words"),
        pytest.param("purplekettledune", None, id="no-digit-no-capital-no-sign"),
        pytest.param("481 956 207 334 12", None, id="digits-and-spaces"),
        pytest.param(
            "\u6771\u4eac\u30bf\u30ef\u30fc\u306e\u4e0b\u3067\u732b\u304c\u5bdd\u3066\u3044\u307e\u3059",
            None,
            id="another-script",
        ),
        pytest.param("\U0001f98a\U0001f33b\U0001f9ca\U0001f6f6\U0001f3ba" * 2 + "kettle", None, id="emoji"),
        pytest.param("x7" * 3 + "kettle dune " * 16, None, id="two-hundred-long"),
        pytest.param("purplekettledu", PasswordFault.TOO_SHORT, id="fourteen"),
        pytest.param("", PasswordFault.TOO_SHORT, id="empty"),
        pytest.param("purple kettle " * 15, PasswordFault.TOO_LONG, id="over-two-hundred"),
        pytest.param("aaaaaaaaaaaaaaaa", PasswordFault.REPEATED, id="one-character"),
        pytest.param("abababababababab", PasswordFault.REPEATED, id="two-characters"),
        pytest.param("kettlekettlekettle", PasswordFault.REPEATED, id="one-word-over-and-over"),
        pytest.param("123456789012345", PasswordFault.EXPECTED, id="digits-in-a-row"),
        pytest.param("qwertyuiopasdfghjkl", PasswordFault.EXPECTED, id="rows-of-keys"),
        pytest.param("PasswordPassphrase1", PasswordFault.EXPECTED, id="usual-words"),
        pytest.param("anabrandt-anabrandt-1", PasswordFault.EXPECTED, id="her-name"),
        pytest.param("AlderYardTherapy2026", PasswordFault.EXPECTED, id="her-place-of-work"),
        pytest.param("Alder Yard kettle dune", None, id="her-place-and-more"),
    ],
)
def test_password_fault(password, fault):
    """Long is enough; what anybody would try first is not."""
    assert password_fault(password, known=KNOWN) == fault


def test_a_password_is_the_same_from_another_keyboard():
    """Composed and decomposed letters are the same characters."""
    assert normalized("Zo\u00eb") == normalized("Zoe\u0308")
