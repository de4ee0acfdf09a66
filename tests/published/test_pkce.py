"""The authorization server's proof key against RFC 7636 (PKCE), appendix B."""

import pytest
from oauthlib.oauth2 import AuthorizationCodeGrant, WebApplicationClient

# RFC 7636, appendix B: the verifier and its S256 challenge, as quoted in many libraries' tests.
VERIFIER = "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk"
CHALLENGE = "E9Melhoa2OwvFrEMTJguCHaoeK1t8URWbuGJSstw-cM"


@pytest.mark.parametrize(
    ("method", "verifier", "accepted"),
    [
        pytest.param("S256", VERIFIER, True, id="verifier"),
        pytest.param("S256", VERIFIER[:-1] + "l", False, id="another-verifier"),
        pytest.param("S256", CHALLENGE, False, id="challenge-sent-as-verifier"),
        pytest.param("S256", VERIFIER + "=", False, id="padded-verifier"),
        pytest.param("plain", VERIFIER, False, id="compared-as-plain"),
    ],
)
def test_the_code_grant_checks_the_challenge_of_appendix_b(method, verifier, accepted):
    """The grant that the provider runs redeems a code only for the verifier behind its challenge."""
    assert AuthorizationCodeGrant().validate_code_challenge(CHALLENGE, method, verifier) is accepted


def test_a_client_makes_the_challenge_of_appendix_b():
    """A client library makes the same challenge from the verifier."""
    assert WebApplicationClient("any").create_code_challenge(VERIFIER, "S256") == CHALLENGE
