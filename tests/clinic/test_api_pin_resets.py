"""A lost signing PIN: the administrator starts, the code reaches its owner alone, and she is told what follows."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from celery import current_app
from django.utils import timezone

from clinic.enums import Role, SignatureMeaning
from clinic.models import AuditEvent, Idempotency, Notice, OutboxHandling, PinReset, SigningPin
from clinic.rules import pin_resets as rules
from clinic.services import delivery, pin_resets, pins
from tests import factories as make
from tests.scheduling.flow import PIN, give_pin, signed_in

pytestmark = pytest.mark.django_db
PASSWORD, NEW = "a long phrase of her own", "271828"
START = "2026-11-25T15:00:00Z"


@pytest.fixture
def clock():
    with time_machine.travel(START, tick=False) as clock:
        yield clock


class Team:
    """An administrator, and Ana, who has forgotten her PIN."""

    def __init__(self):
        self.organization = make.make_organization()
        self.boss = make.make_staff(self.organization, Role.ADMINISTRATOR)
        self.ana = make.make_staff(self.organization, Role.ASSISTANT)
        self.ana.user.set_password(PASSWORD)
        self.ana.user.email = "ana@people.example"
        self.ana.user.save()
        give_pin(self.ana)
        self.api = {staff.pk: signed_in(staff) for staff in (self.boss, self.ana)}

    def start(self, who=None, by=None, **headers):
        api = self.api[(by or self.boss).pk]
        return api.post(f"/api/v1/staff/{(who or self.ana).pk}/pin-reset/", {}, format="json", headers=headers)

    def use(self, code, *, pin=NEW, password=PASSWORD):
        body = {"password": password, "code": code, "pin": pin}
        return self.api[self.ana.pk].post("/api/v1/me/pin/reset/", body, format="json")


@pytest.fixture
def team(clock):
    return Team()


def deliver():
    """What the worker would do now."""
    current_app.loader.import_default_modules()
    return delivery.deliver_outbox()


def code_in(letter):
    return re.search(r"^ {4}(\S{4}-\S{4})$", letter.body, re.MULTILINE).group(1)


def told(answer):
    return answer.status_code, answer.json()["code"]


def matches(staff, pin):
    return pins._matches(SigningPin.objects.get(staff=staff).hash, pin)


def test_a_lost_pin_is_set_anew_by_the_code_in_the_letter(team, mailoutbox):
    """The administrator sees no code; the letter goes to Ana's address; with her password it sets the PIN, once."""
    answer = team.start()
    assert (answer.status_code, sorted(answer.json())) == (200, ["expires_at", "id", "staff", "started_at"])
    deliver()
    assert [letter.to for letter in mailoutbox] == [["ana@people.example"]]
    code = code_in(mailoutbox[0])
    assert code not in answer.content.decode()
    assert team.use(code).status_code == 204
    assert (matches(team.ana, NEW), matches(team.ana, PIN)) == (True, False)
    assert told(team.use(code, pin="314159")) == (409, "no_pin_reset")
    assert matches(team.ana, NEW)


def test_its_owner_is_told_that_it_was_started_and_that_it_changed(team, mailoutbox):
    """In the service at once, and by mail; a letter names nobody and nothing of the record."""
    team.start()
    deliver()
    assert list(Notice.objects.values_list("kind", "recipient_id")) == [("pin_reset", team.ana.pk)]
    team.use(code_in(mailoutbox[0]).lower().replace("-", " "))
    deliver()
    assert [letter.subject for letter in mailoutbox] == [
        "Your code for a new signing PIN",
        "Your signing PIN was changed",
    ]
    for letter in mailoutbox:
        assert team.ana.printed_name not in letter.body
        assert team.organization.name not in letter.body


def test_the_code_is_in_no_table_and_no_answer(team, mailoutbox):
    """It follows from the row and the key of the PINs: whoever reads the tables cannot use what she finds."""
    team.start(**{"Idempotency-Key": make.new_id()})
    deliver()
    code = code_in(mailoutbox[0])
    kept = str([*PinReset.objects.values(), *AuditEvent.objects.values(), *OutboxHandling.objects.values()])
    kept += str(list(Idempotency.objects.values()))
    assert code not in kept
    assert code.replace("-", "") not in kept


def test_another_key_makes_another_code(settings):
    """The control of the above: without the server's key the row's id says nothing."""
    reset_id = uuid4()
    first = pin_resets.code_of(reset_id)
    settings.PIN_KEY = "another-key" * 6
    assert pin_resets.code_of(reset_id) != first


def test_a_letter_sent_again_says_the_same(team, mailoutbox):
    """A worker that died after sending sends it once more: the same code under the same Message-ID."""
    team.start()
    deliver()
    OutboxHandling.objects.update(done_at=None)
    deliver()
    first, second = mailoutbox
    assert first.body == second.body
    assert first.extra_headers["Message-ID"] == second.extra_headers["Message-ID"]


def test_five_wrong_codes_end_it(team, mailoutbox):
    """Then the right one is good no more, and another is to be started."""
    team.start()
    deliver()
    code = code_in(mailoutbox[0])
    assert [told(team.use("0000-0000")) for _ in range(5)] == [(403, "wrong_code")] * 5
    assert told(team.use(code)) == (409, "no_pin_reset")
    assert PinReset.objects.get().misses == 5
    assert matches(team.ana, PIN)


def test_a_code_without_her_password_is_worth_nothing(team, mailoutbox):
    """Whoever reads her mail at her open tablet still lacks one of the two; no guess at the code is counted."""
    team.start()
    deliver()
    assert told(team.use(code_in(mailoutbox[0]), password="not hers")) == (403, "wrong_password")
    assert (PinReset.objects.get().misses, matches(team.ana, PIN)) == (0, True)


def test_a_code_is_good_for_a_day(team, clock, mailoutbox):
    """NIST SP 800-63B-4, section 4.2.1.2 (from memory): a recovery code sent by mail lasts 24 hours at the most."""
    team.start()
    deliver()
    clock.shift(timedelta(hours=24))
    team.api[team.ana.pk] = signed_in(team.ana)
    assert told(team.use(code_in(mailoutbox[0]))) == (409, "no_pin_reset")


def test_the_next_code_replaces_the_last(team, mailoutbox):
    """Two letters, of which the second is good."""
    team.start()
    team.start()
    deliver()
    codes = {code_in(letter) for letter in mailoutbox}
    assert len(mailoutbox) == 1  # the first had ended before it was sent
    assert PinReset.objects.filter(ended_at__isnull=True).count() == 1
    assert team.use(codes.pop()).status_code == 204


def test_who_has_no_address_cannot_be_sent_a_code(team):
    """409, and nothing is started."""
    team.ana.user.email = ""
    team.ana.user.save()
    assert told(team.start()) == (409, "no_mail_address")
    assert not PinReset.objects.exists()


def test_without_a_mail_server_nothing_is_started(team, settings):
    """A code that nobody gets would only lock her out."""
    settings.EMAIL_BACKEND = "django.core.mail.backends.dummy.EmailBackend"
    assert told(team.start()) == (409, "mail_not_set_up")
    assert not PinReset.objects.exists()


def test_nobody_else_says_where_her_letters_go(team):
    """She sets her own address, with her password; there is no door by which an administrator could."""
    api = team.api[team.ana.pk]
    wrong = api.post("/api/v1/me/email/", {"password": "not hers", "email": "evil@people.example"}, format="json")
    assert told(wrong) == (403, "wrong_password")
    right = api.post("/api/v1/me/email/", {"password": PASSWORD, "email": "ana@elsewhere.example"}, format="json")
    assert right.status_code == 204
    team.ana.user.refresh_from_db()
    assert team.ana.user.email == "ana@elsewhere.example"
    by_the_boss = team.api[team.boss.pk].patch(
        f"/api/v1/staff/{team.ana.pk}/", {"email": "evil@people.example"}, format="json", headers={"If-Match": '"1"'}
    )
    assert by_the_boss.status_code == 400


@pytest.mark.parametrize(
    "email", ["", "ana", "ana@people.example\r\nBcc: evil@people.example", "a\u200bna@people.example"]
)
def test_what_is_no_address_is_refused(team, email):
    """400 at the member: nothing that would end up in a letter's head."""
    answer = team.api[team.ana.pk].post("/api/v1/me/email/", {"password": PASSWORD, "email": email}, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "/email")


def test_another_organizations_person_is_not_there(team):
    """404, as if she did not exist."""
    stranger = make.make_staff(make.make_organization(), Role.ASSISTANT)
    assert told(team.start(who=stranger)) == (404, "not_found")
    assert not PinReset.objects.exists()


def sign(team, at):
    """A note of hers, signed at this time."""
    child = make.make_client(make.make_site(team.organization))
    note = make.make_signed_note(
        team.ana, make.make_episode(child), service_date=at.date(), measurements=[], signed_at=at
    )
    return note.pk


def test_what_is_signed_in_the_next_day_is_listed_to_her(team, clock, mailoutbox):
    """Once, when the day is over: times, meanings and ids. What came before and after is not among them."""
    before = sign(team, timezone.now() - timedelta(minutes=1))
    team.start()
    deliver()
    team.use(code_in(mailoutbox[0]))
    within = [sign(team, timezone.now() + timedelta(hours=hours)) for hours in (0, 23)]
    after = sign(team, timezone.now() + timedelta(hours=24))
    assert pin_resets.list_signatures(now=timezone.now() + timedelta(hours=23, minutes=59)) == 0
    clock.shift(timedelta(hours=24, minutes=1))
    assert [pin_resets.list_signatures(now=timezone.now()) for _ in range(2)] == [1, 0]
    deliver()
    letter = mailoutbox[-1]
    assert (letter.subject, letter.to) == ("Signed with your new PIN", ["ana@people.example"])
    assert [str(one) in letter.body for one in (before, *within, after)] == [False, True, True, False]
    assert SignatureMeaning.AUTHORSHIP.value in letter.body
    assert Notice.objects.filter(kind="signatures_since_pin_reset", recipient=team.ana).count() == 1


def test_she_lists_what_was_signed_in_her_name(team):
    """Her own signatures between two instants, and nobody else's."""
    at = timezone.now()
    first, second = sign(team, at - timedelta(hours=2)), sign(team, at - timedelta(hours=1))
    api = team.api[team.ana.pk]
    rows = api.get("/api/v1/me/signatures/").json()["results"]
    assert [row["document"] for row in rows] == [str(second), str(first)]
    asked = {"signed_from": (at - timedelta(minutes=90)).isoformat().replace("+00:00", "Z")}
    assert [row["document"] for row in api.get("/api/v1/me/signatures/", asked).json()["results"]] == [str(second)]
    assert team.api[team.boss.pk].get("/api/v1/me/signatures/").json()["results"] == []


def test_whoever_knows_the_password_alone_changes_no_pin(team):
    """21 CFR 11.200(a)(1), two components: the PIN so far is asked beside the password, and its misses lock."""
    api, url = team.api[team.ana.pk], "/api/v1/me/pin/"
    without = api.post(url, {"password": PASSWORD, "pin": NEW}, format="json")
    assert (without.status_code, without.json()["errors"][0]["pointer"]) == (422, "/current_pin")
    body = {"password": PASSWORD, "pin": NEW, "current_pin": "999000"}
    assert [told(api.post(url, body, format="json")) for _ in range(6)] == [(403, "wrong_pin")] * 5 + [
        (429, "pin_locked")
    ]
    assert matches(team.ana, PIN)


@pytest.mark.parametrize("number", [0, 1, 2**40 - 1, 0x123456789A])
def test_a_code_is_read_as_it_was_written(number):
    """Eight letters of Crockford's base 32; what is easily taken for another letter is taken for it."""
    code = rules.code_from(number.to_bytes(5, "big") + b"rest")
    assert re.fullmatch("[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}", code)
    value = 0
    for letter in rules.plain(code):
        value = value * 32 + rules.LETTERS.index(letter)
    assert value == number
    assert rules.plain(code.lower().replace("0", "o").replace("1", "l").replace("-", "")) == rules.plain(code)
