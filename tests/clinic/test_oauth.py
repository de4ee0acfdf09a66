"""OAuth2 for applications that act for a person: code with PKCE, narrow tokens, and everything else refused.

Sources: RFC 6749, RFC 6750, RFC 7636, RFC 9207 and RFC 9700 (best current practice), by section where cited.
"""

import hashlib
from datetime import timedelta
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.test import Client as Browser
from django.utils import timezone
from oauth2_provider.models import AccessToken, Application, Grant

from clinic.enums import Role
from clinic.errors import InvalidField
from clinic.models import AuditEvent
from clinic.services.applications import Registered, register_application
from tests import factories as make
from tests.clinic import oauth_flow as flow

pytestmark = pytest.mark.django_db
CLIENTS = "/api/v1/clients/"
PASSWORD = "a-pass-phrase-for-tests"


@pytest.fixture
def person():
    """A member of the front desk, who sees every child of her organization."""
    organization = make.make_organization()
    make.make_client(make.make_site(organization))
    staff = make.make_staff(organization, Role.FRONT_DESK)
    staff.user.set_password(PASSWORD)
    staff.user.save()
    return staff


@pytest.fixture
def browser(person):
    browser = Browser()
    browser.force_login(person.user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def application():
    return flow.public_application()


@pytest.fixture
def tokens(browser, application):
    code = flow.allowed(browser, flow.asking(application))["code"]
    return flow.exchange(application, code).json()


def test_the_whole_way_from_the_login_page_to_the_record(person, application):
    """Login, consent, code, token, call: each step by what the page before it offered."""
    browser = Browser(enforce_csrf_checks=True)
    to_login = browser.get(flow.asking(application))
    assert (to_login.status_code, to_login["Location"].split("?")[0]) == (302, "/login/")
    page = browser.get(to_login["Location"])
    form = {**flow.fields_of(page), "username": person.user.username, "password": PASSWORD}
    to_consent = browser.post("/login/", form)
    assert to_consent.status_code == 302
    back = flow.allowed(browser, to_consent["Location"])
    assert (back["state"], back["iss"]) == ("xyz", "http://testserver")  # RFC 9207: who answered
    answer = flow.exchange(application, back["code"])
    tokens = answer.json()
    assert answer.status_code == 200
    assert (tokens["token_type"], tokens["expires_in"], tokens["scope"]) == ("Bearer", 900, "clients:read self:read")
    assert answer["Cache-Control"] == "no-store"  # RFC 6749, section 5.1
    called = flow.get(CLIENTS, tokens["access_token"])
    assert [row["family_name"] for row in called.json()["results"]] == ["Oduya"]
    assert AuditEvent.objects.get().application == application.client_id


def test_a_confidential_application_shows_its_secret(browser):
    """The exchange needs the secret besides the verifier, and the table keeps a hash of it."""
    registered = register_application(name="Ledger", redirect_uris=[flow.REDIRECT], confidential=True)
    code = flow.allowed(browser, flow.asking(registered))["code"]
    assert flow.exchange(Registered(registered.client_id), code).status_code == 401
    assert flow.exchange(registered, code).status_code == 200
    assert registered.secret not in Application.objects.get().client_secret


def test_refusing_on_the_consent_page_gives_no_code(browser, application):
    """The application hears access_denied (RFC 6749, section 4.1.2.1) and no grant is left."""
    page = browser.get(flow.asking(application))
    back = flow.carried(browser.post("/oauth/authorize/", flow.fields_of(page)))
    assert (back["error"], "code" in back) == ("access_denied", False)
    assert Grant.objects.count() == 0


def test_consent_is_asked_every_time(browser, application, tokens):
    """An application cannot skip the page by asking for automatic approval."""
    page = browser.get(flow.asking(application) + "&approval_prompt=auto")
    assert (page.status_code, b"Allow Clipboard to act for you?" in page.content) == (200, True)


@pytest.mark.parametrize(
    ("over", "error"),
    [
        pytest.param({"code_challenge": None, "code_challenge_method": None}, "invalid_request", id="no PKCE"),
        pytest.param({"response_type": "token"}, "unauthorized_client", id="implicit"),
        pytest.param({"scope": "everything"}, "invalid_scope", id="unknown scope"),
        pytest.param({"scope": None}, "invalid_scope", id="no scope"),
    ],
)
def test_an_unsafe_request_is_sent_back_without_a_code(browser, application, over, error):
    """RFC 9700, sections 2.1.1 and 2.1.2: no code without PKCE, no token in a redirect."""
    answer = browser.get(flow.asking(application, **over))
    assert answer.status_code == 302
    assert answer["Location"].startswith(flow.REDIRECT)
    assert f"error={error}" in answer["Location"]
    assert (Grant.objects.count(), AccessToken.objects.count()) == (0, 0)


def test_the_plain_challenge_is_refused(browser, application):
    """RFC 9700, section 2.1.1: a challenge that reveals the verifier gets no code."""
    url = flow.asking(application, code_challenge=flow.VERIFIER, code_challenge_method="plain")
    page = browser.get(url)
    answer = page
    if page.status_code == 200:
        answer = browser.post("/oauth/authorize/", {**flow.fields_of(page), "allow": "Authorize"})
    assert "error=invalid_request" in answer["Location"]
    assert Grant.objects.count() == 0


@pytest.mark.parametrize(
    "address",
    [
        "http://app.example/return",
        "https://app.example/return/",
        "https://app.example/return?x=1",
        "https://app.example.evil.example/return",
        "https://other.example/return",
    ],
)
def test_no_redirect_but_to_the_registered_address(browser, application, address):
    """Exact matching (RFC 9700, section 4.1.3): otherwise a page of our own says so, and nobody is sent anywhere."""
    answer = browser.get(flow.asking(application, redirect_uri=address))
    assert (answer.status_code, "Location" in answer) == (400, False)
    assert Grant.objects.count() == 0


@pytest.mark.parametrize(
    "address", ["http://app.example/return", "app:/return", "https://*.app.example/", "https://app.example/#x", ""]
)
def test_an_application_registers_plain_https_addresses(address):
    """Anything else is refused before a row is made."""
    with pytest.raises(InvalidField) as refusal:
        register_application(name="Clipboard", redirect_uris=[address], confidential=False)
    assert refusal.value.errors[0]["pointer"] == "/redirect_uris"
    assert Application.objects.count() == 0


@pytest.mark.parametrize(
    "form",
    [
        pytest.param({"grant_type": "password", "username": "u", "password": PASSWORD}, id="password"),
        pytest.param({"grant_type": "urn:ietf:params:oauth:grant-type:device_code", "device_code": "x"}, id="device"),
        pytest.param({"grant_type": "client_credentials", "scope": "clients:read"}, id="client credentials"),
        pytest.param({"grant_type": "authorization_code", "code": "made-up"}, id="invented code"),
        pytest.param({}, id="nothing"),
    ],
)
def test_another_grant_gets_no_token(person, application, form):
    """RFC 9700, section 2.4: an application of this kind gets tokens by its person's code alone."""
    answer = Browser().post("/oauth/token/", {"client_id": application.client_id, **form})
    assert answer.status_code in (400, 401, 404)
    assert "access_token" not in answer.json()
    assert AccessToken.objects.count() == 0


@pytest.mark.parametrize(
    "over",
    [
        pytest.param({"code_verifier": "x" * 50}, id="another verifier"),
        pytest.param({"code_verifier": ""}, id="no verifier"),
        pytest.param({"redirect_uri": "https://other.example/"}, id="another address"),
    ],
)
def test_a_stolen_code_is_worth_nothing(browser, application, over):
    """Without the verifier of the one who asked, a code gives no token (RFC 7636, section 4.6)."""
    code = flow.allowed(browser, flow.asking(application))["code"]
    answer = flow.exchange(application, code, **over)
    assert (answer.status_code, AccessToken.objects.count()) == (400, 0)


def test_a_code_works_once(browser, application):
    """RFC 6749, section 4.1.2: the second use is refused."""
    code = flow.allowed(browser, flow.asking(application))["code"]
    assert flow.exchange(application, code).status_code == 200
    again = flow.exchange(application, code)
    assert (again.status_code, again.json()["error"]) == (400, "invalid_grant")


def test_a_refresh_token_used_twice_ends_its_whole_family(application, tokens):
    """RFC 9700, section 4.14.2: a replay means that it leaked, so what was issued after it dies too."""
    second = flow.refresh(application, tokens["refresh_token"]).json()
    assert flow.get(CLIENTS, second["access_token"]).status_code == 200
    replay = flow.refresh(application, tokens["refresh_token"])
    assert (replay.status_code, replay.json()["error"]) == (400, "invalid_grant")
    assert flow.refresh(application, second["refresh_token"]).status_code == 400
    assert flow.get(CLIENTS, second["access_token"]).status_code == 401


def test_the_tables_hold_no_token_in_clear(application, tokens):
    """Whoever reads the tables cannot use what she finds; the digest is the known SHA-256."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT token, token_checksum FROM oauth2_provider_accesstoken")
        assert cursor.fetchall() == [("", hashlib.sha256(tokens["access_token"].encode()).hexdigest())]
        for table in ("oauth2_provider_accesstoken", "oauth2_provider_refreshtoken"):
            cursor.execute(
                f"SELECT count(*) FROM {table} AS t WHERE t::text LIKE ANY (%s)",
                [[f"%{tokens['access_token']}%", f"%{tokens['refresh_token']}%"]],
            )
            assert cursor.fetchone() == (0,)


@pytest.mark.parametrize("where", ["query", "form", "both"])
def test_a_token_counts_in_the_header_alone(tokens, where):
    """RFC 6750, section 2 and RFC 9700, section 4.3.2: query strings end in logs and histories."""
    query = "?" + urlencode({"access_token": tokens["access_token"]})
    if where == "query":
        answer = Browser().get(CLIENTS + query)
    elif where == "form":
        form = urlencode({"access_token": tokens["access_token"]})
        answer = Browser().post(CLIENTS, form, content_type="application/x-www-form-urlencoded")
    else:
        answer = flow.get(CLIENTS + query, tokens["access_token"])
    assert answer.status_code == (400 if where == "both" else 401)
    assert "results" not in answer.json()


def spoilt(token, how):
    rows = AccessToken.objects.all()
    if how == "expired":
        rows.update(expires=timezone.now() - timedelta(seconds=1))
    if how == "of a deactivated person":
        user = rows.get().user
        user.is_active = False
        user.save()
    if how == "of a removed application":
        Application.objects.all().delete()
    return {"shortened": token[:-1], "with a comma": f"{token},x"}.get(how, token)


@pytest.mark.parametrize(
    "how",
    ["expired", "revoked", "of a deactivated person", "of a removed application", "shortened", "with a comma"],
)
def test_a_token_that_is_not_good_is_401_with_a_challenge(application, tokens, how):
    """RFC 6750, section 3.1, and where to learn how to get one (RFC 9728, section 5.1)."""
    if how == "revoked":
        form = {"token": tokens["access_token"], "client_id": application.client_id}
        assert Browser().post("/oauth/revoke_token/", form).status_code == 200
    answer = flow.get(CLIENTS, spoilt(tokens["access_token"], how))
    assert (answer.status_code, answer["Content-Type"]) == (401, "application/problem+json")
    assert answer.json()["code"] == "invalid_token"
    challenge = answer["WWW-Authenticate"]
    assert challenge.startswith("Bearer ")
    assert 'error="invalid_token"' in challenge
    assert 'resource_metadata="http://testserver/.well-known/oauth-protected-resource"' in challenge
    assert AuditEvent.objects.count() == 0


def test_without_a_token_the_challenge_names_no_fault():
    """RFC 6750, section 3.1: a request without credentials hears that some are needed."""
    answer = Browser().get(CLIENTS)
    assert (answer.status_code, answer.json()["code"]) == (401, "not_authenticated")
    assert answer["WWW-Authenticate"].startswith("Bearer ")
    assert "error=" not in answer["WWW-Authenticate"]


@pytest.mark.parametrize(("scope", "status"), [("clients:read", 200), ("self:read", 403), ("clients:write", 403)])
def test_a_token_reaches_what_its_scope_names(browser, application, scope, status):
    """The front desk may see every child, but not through an application that was not allowed to."""
    code = flow.allowed(browser, flow.asking(application, scope=scope))["code"]
    token = flow.exchange(application, code).json()["access_token"]
    answer = flow.get(CLIENTS, token)
    assert answer.status_code == status
    if status == 403:
        assert answer.json()["code"] == "insufficient_scope"
        assert answer["WWW-Authenticate"] == 'Bearer realm="api",error="insufficient_scope",scope="clients:read"'


def test_a_scope_gives_no_more_than_the_person_has(person, application):
    """Who may see no child herself sees none through an application that she allowed to see clients."""
    nobody = make.make_staff(person.organization)
    browser = Browser()
    browser.force_login(nobody.user, backend="django.contrib.auth.backends.ModelBackend")
    code = flow.allowed(browser, flow.asking(application))["code"]
    answer = flow.get(CLIENTS, flow.exchange(application, code).json()["access_token"])
    assert (answer.status_code, answer.json()["code"]) == (403, "role_may_not")


def test_an_account_closed_after_the_consent_gets_no_token(browser, person, application):
    """The code that it had given is refused."""
    code = flow.allowed(browser, flow.asking(application))["code"]
    person.user.is_active = False
    person.user.save()
    answer = flow.exchange(application, code)
    assert (answer.status_code, answer.json()["error"], AccessToken.objects.count()) == (400, "invalid_grant", 0)


def test_a_closed_account_gets_no_new_token(person, application, tokens):
    """A refresh token that outlives its person's account is refused."""
    person.user.is_active = False
    person.user.save()
    answer = flow.refresh(application, tokens["refresh_token"])
    assert (answer.status_code, answer.json()["error"]) == (400, "invalid_grant")
    assert AccessToken.objects.count() == 1


def test_the_consent_page_may_send_the_form_to_the_application_alone(browser, application):
    """Browsers hold a form's redirect to the page's form-action: ours names us and this one address's host."""
    policy = browser.get(flow.asking(application))["Content-Security-Policy"]
    assert "form-action 'self' https://app.example;" in policy + ";"
    plain = Browser().get("/login/")["Content-Security-Policy"]
    assert "form-action 'self';" in plain + ";"


def test_the_server_describes_itself():
    """RFC 8414: what is offered and nothing more, under the issuer that the redirect names."""
    told = Browser().get("/.well-known/oauth-authorization-server").json()
    assert {name: told[name] for name in told if name not in ("scopes_supported",)} == {
        "issuer": "http://testserver",
        "authorization_endpoint": "http://testserver/oauth/authorize/",
        "token_endpoint": "http://testserver/oauth/token/",
        "revocation_endpoint": "http://testserver/oauth/revoke_token/",
        "introspection_endpoint": "http://testserver/oauth/introspect/",
        "response_types_supported": ["code"],
        "grant_types_supported": ["authorization_code", "client_credentials", "refresh_token"],
        "code_challenge_methods_supported": ["S256"],
        "authorization_response_iss_parameter_supported": True,
        "client_id_metadata_document_supported": False,
        "token_endpoint_auth_methods_supported": ["client_secret_basic", "client_secret_post", "none"],
        "revocation_endpoint_auth_methods_supported": ["client_secret_basic", "client_secret_post", "none"],
        "introspection_endpoint_auth_methods_supported": ["client_secret_basic", "client_secret_post", "none"],
    }
    assert "clients:read" in told["scopes_supported"]


def test_the_resource_describes_itself():
    """RFC 9728: which server issues its tokens, and that they travel in the header."""
    told = Browser().get("/.well-known/oauth-protected-resource").json()
    assert told["resource"] == "http://testserver"
    assert told["authorization_servers"] == ["http://testserver"]
    assert told["bearer_methods_supported"] == ["header"]
