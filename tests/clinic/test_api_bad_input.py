"""Bad input at the door, over one representative write: a clear problem each time, no 500, nothing written."""

import json
import string
from io import BytesIO

import pytest
from django.conf import settings
from django.core import signing
from django.test import Client as Browser

from clinic.api.pagination import SALT
from clinic.enums import Role
from clinic.models import AuditEvent, ChangeFeed, Client
from tests import factories as make

pytestmark = pytest.mark.django_db
CLIENTS = "/api/v1/clients/"
PROBLEM = "application/problem+json"


@pytest.fixture
def desk():
    organization = make.make_organization()
    make.make_client(make.make_site(organization))
    return make.make_staff(organization, Role.FRONT_DESK)


@pytest.fixture
def api(desk):
    """A browser that, like a server, turns an exception into an answer."""
    browser = Browser(raise_request_exception=False)
    browser.force_login(desk.user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def wanted():
    site = Client.objects.get().home_site_id
    return {"home_site": str(site), "given_name": "Ilo", "family_name": "Varga", "birth_date": "2022-01-02"}


def put(api, raw, content_type="application/json", **headers):
    url = f"{CLIENTS}{make.new_id()}/"
    return api.generic("PUT", url, raw, content_type=content_type, headers=headers)


def refused(answer, status, code=None):
    """The one form of every refusal, and that it left nothing but its line in the trail."""
    assert (answer.status_code, answer["Content-Type"]) == (status, PROBLEM), answer.content
    told = answer.json()
    assert told["status"] == status
    assert told["request_id"] == answer["X-Request-ID"]
    assert Browser().get(told["type"]).status_code == 200  # RFC 9457, section 3.1.1: the type explains itself
    if code is not None:
        assert told["code"] == code
    assert Client.objects.count() == 1
    assert ChangeFeed.objects.count() == 0
    assert set(AuditEvent.objects.values_list("outcome", flat=True)) <= {"refused"}
    return told


def text_with(**over):
    return json.dumps({**wanted(), **over})


def test_the_body_that_every_refusal_below_spoils(api):
    """As it stands it is taken: 201."""
    assert put(api, text_with()).status_code == 201


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        pytest.param(lambda text: "[" * 100_000 + "]" * 100_000, "malformed_json", id="100,000 nested lists"),
        pytest.param(lambda text: '{"a":' * 100_000 + "1" + "}" * 100_000, "malformed_json", id="nested objects"),
        pytest.param(lambda text: '{"a":' + "[" * 41 + "]" * 41 + "}", "too_deep", id="41 nested lists"),
        pytest.param(lambda text: '{"a":[' + "0," * 50_000 + "0]}", "too_many_values", id="50,001 numbers"),
        pytest.param(lambda text: text.replace('"Ilo"', "NaN"), "malformed_json", id="NaN"),
        pytest.param(lambda text: text.replace('"Ilo"', "Infinity"), "malformed_json", id="Infinity"),
        pytest.param(lambda text: text.replace('"Ilo"', "-Infinity"), "malformed_json", id="-Infinity"),
        pytest.param(lambda text: text.replace('"Ilo"', "1e999"), "malformed_json", id="number beyond any"),
        pytest.param(lambda text: text.replace('"Ilo"', "1" * 5000), "malformed_json", id="5,000 digits"),
        pytest.param(lambda text: text.replace("Ilo", "I\\u0000lo"), "null_character", id="NUL in a value"),
        pytest.param(lambda text: text.replace("given_", "given\\u0000_"), "null_character", id="NUL in a name"),
        pytest.param(lambda text: text.replace("Ilo", "I\\ud800lo"), "malformed_json", id="lone surrogate"),
        pytest.param(lambda text: text.replace("given_", "\\udc00"), "malformed_json", id="lone surrogate in a name"),
        pytest.param(lambda text: text[:-1], "malformed_json", id="truncated"),
        pytest.param(lambda text: text + text, "malformed_json", id="two texts"),
        pytest.param(lambda text: text[:-1] + ',"given_name":"Ila"}', "doubled_member", id="doubled member"),
        pytest.param(lambda text: text[:-1] + ',"given\\u005fname":"Ila"}', "doubled_member", id="doubled, escaped"),
        pytest.param(lambda text: f"[{text}]", "not_an_object", id="list at the top"),
        pytest.param(lambda text: '"text"', "not_an_object", id="string at the top"),
        pytest.param(lambda text: "null", "not_an_object", id="null at the top"),
        pytest.param(lambda text: " ", "malformed_json", id="a blank"),
        pytest.param(lambda text: text.encode("utf-16"), "malformed_json", id="UTF-16"),
        pytest.param(lambda text: text.encode().replace(b"Ilo", b"I\xfflo"), "malformed_json", id="not UTF-8"),
        pytest.param(lambda text: b"\xef\xbb\xbf" + text.encode(), "malformed_json", id="byte order mark"),
        pytest.param(lambda text: "", "invalid_request", id="empty"),
        pytest.param(lambda text: "{}", "invalid_request", id="no member"),
        pytest.param(lambda text: text.replace('"Ilo"', "123456789012345678901"), "invalid_request", id="big number"),
        pytest.param(lambda text: text.replace('"Ilo"', "[]"), "invalid_request", id="list for a text"),
        pytest.param(lambda text: text.replace('"Ilo"', "{}"), "invalid_request", id="object for a text"),
        pytest.param(lambda text: text.replace('"Ilo"', "true"), "invalid_request", id="true for a text"),
    ],
)
def test_a_spoilt_body_is_refused(api, spoil, code):
    """400 with a code that says what is wrong with it."""
    told = refused(put(api, spoil(text_with())), 400, code)
    assert ("errors" in told) == (code == "invalid_request")


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("I\u200blo", "hidden_character"),
        ("Ilo\u202e", "bidi_control"),
        ("\u0406lo", "mixed_scripts"),
        ("Ilo\u0308", "not_normalized"),
        ("Ilo ", "odd_spaces"),
        ("Ilo\r\nBcc: x", "control_character"),
    ],
)
def test_a_name_that_looks_like_another_is_refused(api, name, code):
    """Two children whose names read alike are one child to whoever picks from a list."""
    told = refused(put(api, text_with(given_name=name)), 400, "invalid_request")
    assert [(error["pointer"], error["code"]) for error in told["errors"]] == [("/given_name", code)]


@pytest.mark.parametrize(
    ("content_type", "status"),
    [
        ("text/plain", 415),
        ("application/x-www-form-urlencoded", 415),
        ("multipart/form-data; boundary=x", 415),
        ("multipart/form-data", 415),
        ("application/xml", 415),
        ("application/json+x", 415),
        ("nonsense", 415),
        ("", 415),
        ("application/json; charset=utf-8", 201),
        ("APPLICATION/JSON", 201),
    ],
)
def test_only_json_is_taken(api, content_type, status):
    """415 for everything else, whatever the body is."""
    answer = put(api, text_with(), content_type)
    if status == 201:
        assert answer.status_code == 201
        return
    refused(answer, 415, "unsupported_media_type")


@pytest.mark.parametrize(
    "size", [pytest.param(3 * 1024 * 1024, id="3 MB"), pytest.param(2 * 1024 * 1024 + 1, id="one byte too many")]
)
def test_a_large_body_is_refused(api, size):
    """413 without having been parsed."""
    refused(put(api, b" " * size), 413, "body_too_large")


def test_a_body_of_fifty_megabytes_is_refused_before_it_is_read(api):
    """Of the API's at most one byte more than the limit is looked at; of a form's, nothing."""
    read = []

    class Counted(BytesIO):
        def read(self, size=-1):
            read.append(size)
            return super().read(size)

    url = f"{CLIENTS}{make.new_id()}/"
    given = {"CONTENT_LENGTH": str(50 * 1024 * 1024), "wsgi.input": Counted(b"x" * 50 * 1024 * 1024)}
    refused(api.generic("PUT", url, CONTENT_TYPE="application/json", **given), 413, "body_too_large")
    assert sum(read) <= settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1
    form = api.generic("POST", "/login/", CONTENT_TYPE="application/x-www-form-urlencoded", **given)
    refused(form, 413, "body_too_large")
    assert sum(read) <= settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1


def test_a_body_without_its_length_is_not_taken_for_an_empty_one(api):
    """RFC 9110, section 15.5.12: 411, so that nobody believes saved what was never read."""
    url = f"{CLIENTS}{make.new_id()}/"
    answer = api.generic("PUT", url, b"", content_type="application/json", headers={"Transfer-Encoding": "chunked"})
    refused(answer, 411, "length_required")


def test_the_largest_body_is_read(api):
    """Two megabytes of blanks round a good text are still a good text."""
    text = text_with().encode()
    assert put(api, text + b" " * (2 * 1024 * 1024 - len(text))).status_code == 201


@pytest.mark.parametrize(
    "moment",
    [
        "2026-03-03T09:00:00",
        "2026-03-03 09:00:00Z",
        "2026-03-03",
        "2026-03-03T09:00Z",
        "2026-02-30T09:00:00Z",
        "2026-03-03T24:00:00Z",
        "2026-03-03T09:00:00+25:00",
        "2026-03-03T09:00:00Z\n",
        "\u0662026-03-03T09:00:00Z",
        "20260303T090000Z",
        "now",
        "",
        1772528400,
        None,
    ],
)
def test_a_time_without_its_offset_is_refused(api, moment):
    """RFC 3339, section 5.6: no reader may have to guess the zone of a visit."""
    text = json.dumps({"starts_at": moment})
    told = refused(api.generic("PUT", f"/api/v1/visits/{make.new_id()}/", text, "application/json"), 400)
    codes = {error["pointer"]: error["code"] for error in told["errors"]}
    assert codes["/starts_at"] == ("null" if moment is None else "not_rfc3339")


@pytest.mark.parametrize(
    ("query", "pointer", "code"),
    [
        ("colour=red", "/colour", "unknown_parameter"),
        ("page_size=5&page_size=6", "/page_size", "doubled_parameter"),
        ("page_size=0", "/page_size", "invalid"),
        ("page_size=-1", "/page_size", "invalid"),
        ("page_size=ten", "/page_size", "invalid"),
        ("page_size=", "/page_size", "invalid"),
        ("page_size=%D9%A3", "/page_size", "invalid"),
        ("page_size=9999999999999999999999", "/page_size", "invalid"),
        ("format=json", "/format", "unknown_parameter"),
        ("format=xml", "/format", "unknown_parameter"),
        ("%00=1", "/\x00", "unknown_parameter"),
        ("a%0d%0aX-Evil:1=1", "/a\r\nX-Evil:1", "unknown_parameter"),
    ],
)
def test_a_wrong_parameter_is_pointed_at(api, query, pointer, code):
    """A misspelt filter never means all rows."""
    told = refused(api.get(f"{CLIENTS}?{query}"), 400, "invalid_request")
    assert [(error["pointer"], error["code"]) for error in told["errors"]] == [(pointer, code)]


def test_a_write_takes_no_parameters(api):
    """Not even those of the list."""
    answer = api.generic("PUT", f"{CLIENTS}{make.new_id()}/?page_size=5", text_with(), "application/json")
    refused(answer, 400, "invalid_request")


@pytest.mark.parametrize(
    "query",
    [
        pytest.param("&".join(f"a{number}=1" for number in range(1001)), id="1,001 parameters"),
        pytest.param("page_size=\xff", id="not encoded"),
        pytest.param("page_size=%ff%fe", id="not UTF-8"),
        pytest.param("page_size=%", id="broken encoding"),
        pytest.param("page_size=%u0031", id="another encoding"),
        pytest.param("[]=1&;&&==", id="punctuation"),
        pytest.param("x" * 20_000, id="20,000 characters"),
    ],
)
@pytest.mark.parametrize("bearer", [False, True])
def test_a_mangled_query_is_refused(api, query, bearer):
    """400, or 401 where the token that came with it is bad; never a failure of the server."""
    headers = {"Authorization": "Bearer made-up"} if bearer else {}
    answer = api.get(CLIENTS, headers=headers, QUERY_STRING=query)
    assert answer.status_code in ((400, 401) if bearer else (400,))
    refused(answer, answer.status_code)


def crafted_cursors():
    """Texts, and objects that were signed with our own key: even those are judged."""
    own = [
        {},
        [],
        None,
        "text",
        7,
        {"b": "x", "r": False, "k": []},
        {"b": "x", "r": False},
        {"b": None, "r": False, "k": None},
        {"b": "x", "r": "yes", "k": [["UUID", "no"], ["int", "x"], ["datetime", "never"]]},
        {"b": "x", "r": False, "k": [["eval", "1"], ["str", "a"], ["UUID", make.new_id()]]},
    ]
    texts = ["abc", "", " ", "\x00", "%00", ":", "::", "a:b:c", "é", "\U0001f600", "x" * 5000, "../../etc", "0", "-1"]
    texts += [f"{letter}:{letter}" for letter in string.punctuation]
    return texts + [signing.dumps(value, salt=SALT) for value in own] + [signing.dumps({"k": []}, salt="another")]


def test_a_crafted_cursor_is_refused(api):
    """Each of some sixty: 400 that points at the cursor."""
    for cursor in crafted_cursors():
        told = refused(api.get(CLIENTS, {"cursor": cursor}), 400, "invalid_request")
        assert [(error["pointer"], error["code"]) for error in told["errors"]] == [("/cursor", "invalid_cursor")]


def test_a_cursor_changed_in_any_place_is_refused(api, desk):
    """One real cursor, one character of it changed at a time."""
    make.make_client(Client.objects.get().home_site, family_name="Second")
    cursor = api.get(f"{CLIENTS}?page_size=1").json()["next"].partition("cursor=")[2]
    cursor = cursor.partition("&")[0].replace("%3A", ":")
    assert api.get(CLIENTS, {"cursor": cursor}).status_code == 200
    for place in range(0, len(cursor) - 1, 7):
        other = "A" if cursor[place] != "A" else "B"
        answer = api.get(CLIENTS, {"cursor": cursor[:place] + other + cursor[place + 1 :]})
        assert (answer.status_code, answer["Content-Type"]) == (400, PROBLEM)


def test_a_cursor_is_worth_nothing_in_another_organization(api):
    """It is bound to whose list it came from."""
    make.make_client(Client.objects.get().home_site, family_name="Second")
    following = api.get(f"{CLIENTS}?page_size=1").json()["next"]
    stranger = make.make_staff(make.make_organization(), Role.FRONT_DESK)
    assert make.signed_in(stranger).get(following).status_code == 400


@pytest.mark.parametrize("accept", ["text/html", "application/xml", "image/*", "text/csv;q=x", "x"])
def test_another_answer_than_json_is_not_to_be_had(api, accept):
    """406, told as a problem all the same."""
    refused(api.get(CLIENTS, headers={"Accept": accept}), 406, "not_acceptable")


@pytest.mark.parametrize(
    "path",
    [
        "/api/v1/nothing/",
        "/api/v2/clients/",
        "/api/",
        "/api/v1/clients",
        "/api/v1/clients/1/",
        "/api/v1/clients/not-a-uuid/",
        "/api/v1/clients/%00/",
        "/api/v1/clients/..%2f..%2fetc/",
        "/",
        "/admin/",
        "/nothing",
        "/problems/no-such-problem/",
        "/" + "x" * 10_000,
        "/%ff%fe",
    ],
)
def test_a_path_that_leads_nowhere(api, path):
    """404 below the API and elsewhere, told alike."""
    refused(api.get(path), 404, "not_found")


def test_a_child_that_is_not_there(api):
    """A well-formed id of nobody answers the same as one out of reach."""
    refused(api.get(f"{CLIENTS}{make.new_id()}/"), 404, "not_found")


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("POST", CLIENTS, "GET, HEAD"),
        ("DELETE", CLIENTS, "GET, HEAD"),
        ("OPTIONS", CLIENTS, "GET, HEAD"),
        ("TRACE", CLIENTS, "GET, HEAD"),
        ("BREW", CLIENTS, "GET, HEAD"),
        ("AVERYLONGMETHODNAME", CLIENTS, "GET, HEAD"),
        ("POST", "one", "GET, HEAD, PUT, PATCH"),
        ("DELETE", "one", "GET, HEAD, PUT, PATCH"),
        ("DELETE", "/health/", "GET, HEAD, OPTIONS"),
        ("DELETE", "/logout/", "POST, OPTIONS"),
    ],
)
def test_a_method_that_is_not_offered(api, method, path, allowed):
    """405 with what is (RFC 9110, section 15.5.6)."""
    url = f"{CLIENTS}{Client.objects.get().pk}/" if path == "one" else path
    answer = api.generic(method, url)
    refused(answer, 405, "method_not_allowed")
    assert sorted(answer["Allow"].split(", ")) == sorted(allowed.split(", "))


def test_head_is_get_without_a_body(api):
    """RFC 9110, section 9.3.2: same status and headers, and the read is in the trail."""
    url = f"{CLIENTS}{Client.objects.get().pk}/"
    head, get = api.head(url), api.get(url)
    assert (head.status_code, head.content) == (200, b"")
    assert (head["ETag"], head["Content-Type"]) == (get["ETag"], get["Content-Type"])
    assert api.head(f"{CLIENTS}?page_size=1").status_code == 200
    assert api.head(f"{CLIENTS}{make.new_id()}/").status_code == 404
    read = AuditEvent.objects.filter(outcome="done").order_by("at").values_list("method", "action")
    assert list(read) == [("HEAD", "clients:read"), ("GET", "clients:read"), ("HEAD", "clients:read")]


@pytest.mark.parametrize("host", ["evil.example", "testserver.evil.example", "", "a b", "x:y:z", "[::1", "<script>"])
@pytest.mark.parametrize("path", [CLIENTS, "/login/", "/nothing"])
def test_another_hosts_name_is_refused(api, host, path):
    """Links and redirects are made from the host, so only the service's own names count."""
    answer = api.get(path, headers={"Host": host})
    refused(answer, 400, "bad_request")
    assert not host or host not in answer.content.decode()


@pytest.mark.parametrize(
    "given", ["short", "x" * 65, "with space in it", "line\r\nX-Evil: 1", "trailing-newline\n", "<script>alert(1)", ""]
)
def test_a_request_id_that_is_not_one_is_replaced(api, given):
    """The caller's id is kept only where it cannot break a header or a log line."""
    answer = api.get("/health/", headers={"X-Request-ID": given})
    assert answer.status_code == 200
    assert answer["X-Request-ID"] != given
    assert "X-Evil" not in answer
    assert len(answer["X-Request-ID"]) == 32


def test_a_good_request_id_comes_back(api):
    """So that both sides' logs can be read together."""
    assert api.get("/health/", headers={"X-Request-ID": "caller-0001"})["X-Request-ID"] == "caller-0001"


@pytest.mark.parametrize(
    "header", ["If-Match", "If-None-Match", "X-Organization", "Authorization", "Accept", "Content-Type", "Cookie"]
)
@pytest.mark.parametrize("value", ["x\r\nSet-Cookie: evil=1", "\x00", '"', "é" * 10, "x" * 8000])
def test_no_header_breaks_the_answer(api, header, value):
    """Whatever a header holds, the answer is one of ours and carries nothing that it asked for."""
    url = f"{CLIENTS}{Client.objects.get().pk}/"
    for answer in (api.get(url, headers={header: value}), put(api, text_with(), **{header: value})):
        assert answer.status_code < 500
        assert "evil" not in answer.cookies
        assert not any("\n" in held or "\r" in held for held in answer.headers.values())
