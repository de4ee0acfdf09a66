"""Frozen content against RFC 8785 (JSON Canonicalization Scheme, June 2020) and FIPS 180-4.

The RFC's own examples were read in stored copies of its text and of test suites that quote it; the example
of sorting in section 3.2.3 was first written down from memory and then found the same in those copies.
"""

import json
import struct

import pytest
import rfc8785

from clinic.rules.canonical import FreezeFault, NotFreezable, digest, freeze

# RFC 8785, section 3.2.2: the sample object, and section 3.2.3: its canonical form.
SAMPLE = r"""
{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}
"""
SAMPLE_CANONICAL = (
    '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    '"string":"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
)


def test_the_library_gives_the_sample_of_section_3_2_3():
    """The library writes the RFC's own example, numbers and all, as the RFC does."""
    assert rfc8785.dumps(json.loads(SAMPLE)) == SAMPLE_CANONICAL.encode()


def test_strings_and_literals_of_the_sample_are_frozen_so():
    """The sample without its numbers, which are floats, is frozen as the RFC writes it."""
    sample = json.loads(SAMPLE)
    del sample["numbers"]
    assert freeze(sample) == (b'{"literals":[null,true,false],"string":"\xe2\x82\xac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}')


def test_the_sample_with_its_floats_is_refused():
    """The scheme allows floats; signed content does not: decimals are kept as text."""
    with pytest.raises(NotFreezable) as refused:
        freeze(json.loads(SAMPLE))
    assert refused.value.code == FreezeFault.UNSUPPORTED_TYPE


def test_names_are_sorted_by_utf16_code_units():
    """RFC 8785, section 3.2.3: a character beyond the basic plane sorts by its surrogates, before U+FB33."""
    names = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(freeze(names)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


def test_names_in_the_authors_test_data():
    """The scheme's authors' test data, file weird.json (cyberphone/json-canonicalization)."""
    names = {
        "\u20ac": "Euro Sign",
        "1": "One",
        "\u0080": "Control\u007f",
        "\U0001f602": "Smiley",
        "\u00f6": "Latin Small Letter O With Diaeresis",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "</script>": "Browser Challenge",
    }
    assert (
        freeze(names)
        == (
            '{"1":"One","</script>":"Browser Challenge","\u0080":"Control\u007f",'
            '"\u00f6":"Latin Small Letter O With Diaeresis","\u20ac":"Euro Sign","\U0001f602":"Smiley",'
            '"\ufb33":"Hebrew Letter Dalet With Dagesh"}'
        ).encode()
    )


@pytest.mark.parametrize(
    ("character", "escaped"),
    [
        pytest.param("\b", rb"\b", id="backspace"),
        pytest.param("\t", rb"\t", id="tab"),
        pytest.param("\n", rb"\n", id="line-feed"),
        pytest.param("\f", rb"\f", id="form-feed"),
        pytest.param("\r", rb"\r", id="carriage-return"),
        pytest.param('"', rb"\"", id="quotation-mark"),
        pytest.param("\\", rb"\\", id="backslash"),
        pytest.param("\x01", rb"\u0001", id="other-control"),
        pytest.param("\x1f", rb"\u001f", id="lower-case-hexadecimal"),
        pytest.param("/", b"/", id="solidus-as-it-is"),
        pytest.param("\x7f", b"\x7f", id="delete-as-it-is"),
        pytest.param("\u2028", "\u2028".encode(), id="line-separator-as-it-is"),
    ],
)
def test_escapes_of_section_3_2_2_2(character, escaped):
    """RFC 8785, section 3.2.2.2: seven short escapes, \\u00xx for other controls, all else as UTF-8."""
    assert freeze({"a": character}) == b'{"a":"' + escaped + b'"}'


# RFC 8785, appendix B, quoted from memory: the bits of a double and how it is written. Signed content holds
# no floats; this says only that the library can be trusted where the RFC is hardest.
@pytest.mark.parametrize(
    ("bits", "written"),
    [
        pytest.param("0000000000000000", b"0", id="zero"),
        pytest.param("8000000000000000", b"0", id="minus-zero"),
        pytest.param("0000000000000001", b"5e-324", id="smallest"),
        pytest.param("7fefffffffffffff", b"1.7976931348623157e+308", id="largest"),
        pytest.param("4340000000000000", b"9007199254740992", id="two-to-the-53"),
        pytest.param("4430000000000000", b"295147905179352830000", id="twenty-one-digits"),
        pytest.param("44b52d02c7e14af6", b"1e+23", id="ten-to-the-23"),
        pytest.param("444b1ae4d6e2ef50", b"1e+21", id="ten-to-the-21"),
        pytest.param("3eb0c6f7a0b5ed8d", b"0.000001", id="one-millionth"),
    ],
)
def test_the_library_writes_the_numbers_of_appendix_b(bits, written):
    """The library writes doubles as ECMAScript does."""
    assert rfc8785.dumps(struct.unpack(">d", bytes.fromhex(bits))[0]) == written


def test_digest_of_abc():
    """FIPS 180-4 example: the SHA-256 of "abc"."""
    assert digest(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
