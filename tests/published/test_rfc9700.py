"""The settings under which RFC 9700 (OAuth 2.0 Security Best Current Practice, January 2025) holds, as shipped.

Source: the sections named beside each, from memory. What each means is tested in tests/clinic/test_oauth.py.
"""

from datetime import timedelta

import pytest

from clinic import settings as shipped

SET = shipped.OAUTH2_PROVIDER


@pytest.mark.parametrize(
    ("name", "value", "section"),
    [
        ("PKCE_REQUIRED", True, "2.1.1"),
        ("COMPLIANT_BCP_RFC9700_PKCE_REQUIRED", True, "2.1.1"),
        ("COMPLIANT_BCP_RFC9700_PKCE_METHOD", True, "2.1.1, S256 alone"),
        ("COMPLIANT_BCP_RFC9700_IMPLICIT_GRANT", True, "2.1.2"),
        ("OAUTH2_RESPONSE_TYPES_SUPPORTED", ["code"], "2.1.2"),
        ("ROTATE_REFRESH_TOKEN", True, "2.2.2"),
        ("REFRESH_TOKEN_REUSE_PROTECTION", True, "4.14.2"),
        ("REFRESH_TOKEN_GRACE_PERIOD_SECONDS", 0, "4.14.2"),
        ("COMPLIANT_BCP_RFC9700_REFRESH_TOKEN", True, "4.14.2"),
        ("DEFAULT_SCOPES", [], "2.3, no more than was asked for"),
        ("COMPLIANT_BCP_RFC9700_PASSWORD_GRANT", True, "2.4"),
        (
            "OAUTH2_GRANT_TYPES_SUPPORTED",
            ["authorization_code", "client_credentials", "refresh_token"],
            "2.1.2, 2.4",
        ),
        ("ALLOWED_REDIRECT_URI_SCHEMES", ["https"], "2.6"),
        ("COMPLIANT_BCP_RFC9700_REDIRECT_URI_SCHEME", True, "2.6"),
        ("COMPLIANT_BCP_RFC9700_REDIRECT_URI_MATCHING", True, "4.1.3, exact"),
        ("COMPLIANT_BCP_RFC9700_AUTHZ_RESPONSE_ISS", True, "4.4.2.1"),
        ("COMPLIANT_BCP_RFC9700_ACCESS_TOKEN_TRANSPORT", True, "4.3.2"),
        ("COMPLIANT_BCP_RFC9700_TOKEN_STORAGE", True, "4.9"),
    ],
)
def test_the_setting_is_the_safe_one(name, value, section):
    """Each is given here and not left to a default that another version may change."""
    assert SET[name] == value, section


def test_tokens_do_not_last():
    """RFC 9700, section 2.2.1 asks for privileges that end: a quarter of an hour, renewed for thirty days."""
    assert SET["ACCESS_TOKEN_EXPIRE_SECONDS"] <= 900
    assert SET["REFRESH_TOKEN_EXPIRE_SECONDS"] <= timedelta(days=30)
