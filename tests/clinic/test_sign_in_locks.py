"""Guessing from many places at one account, and from one place at many, ends; nobody is locked out by strangers."""

from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from clinic.enums import Role
from clinic.rules.sign_in import ACCOUNT_LONG, ACCOUNT_SHORT, ADDRESS_SHORT, Misses, is_locked
from tests import factories as make
from tests.clinic.test_session import PASSWORD, code_of

HER_ADDRESS = "198.51.100.1"


@pytest.mark.parametrize(
    ("misses", "known", "locked"),
    [
        pytest.param(Misses(0, 0, 0), False, False, id="none"),
        pytest.param(
            Misses(ACCOUNT_SHORT - 1, ACCOUNT_LONG - 1, ADDRESS_SHORT - 1), False, False, id="one-less-of-each"
        ),
        pytest.param(Misses(ACCOUNT_SHORT, ACCOUNT_SHORT, 0), False, True, id="account-in-a-quarter-of-an-hour"),
        pytest.param(Misses(0, ACCOUNT_LONG, 0), False, True, id="account-in-a-day"),
        pytest.param(Misses(0, 0, ADDRESS_SHORT), False, True, id="address"),
        pytest.param(Misses(999, 999, 999), True, False, id="where-she-is-known"),
    ],
)
def test_is_locked(misses, known, locked):
    """NIST SP 800-63B, section 5.2.2 (from memory): at most 100 misses, and an address where she was let in before."""
    assert is_locked(misses, known=known) is locked


@pytest.fixture
def staff(db):
    staff = make.make_staff(make.make_organization(), Role.FRONT_DESK)
    staff.user.set_password(PASSWORD)
    staff.user.save()
    return staff


@pytest.fixture
def clock():
    with time_machine.travel("2026-03-03T08:00:00Z", tick=False) as clock:
        yield clock


def sign_in(username, password, address):
    return Browser(REMOTE_ADDR=address).post("/login/", {"username": username, "password": password})


MANY = """
INSERT INTO clinic_accountevent (id, at, named, action, method, route, outcome, status, code, address, request_id,
    application)
SELECT gen_random_uuid(), '2026-03-03 07:50Z', md5((n / 3)::text), 'sign_in', 'POST', 'login/', 'refused', 200,
       'not_let_in', '10.0.0.0'::inet + n / 3, 'request', ''
FROM generate_series(1, 6000) AS n;
ANALYZE clinic_accountevent"""


def run(sql):
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return cursor.fetchall() if cursor.description else None


def guess_from_everywhere(username, number):
    return [sign_in(username, "wrong", f"203.0.{n // 200}.{n % 200}").status_code for n in range(number)]


def test_guesses_from_many_addresses_lock_the_account(staff, clock):
    """Each address tries once: after thirty in a quarter of an hour even the right password is not compared."""
    assert set(guess_from_everywhere(staff.user.username, ACCOUNT_SHORT)) == {200}
    locked = sign_in(staff.user.username, PASSWORD, "192.0.2.1")
    assert code_of(locked) == (429, "locked_out")
    assert locked["Retry-After"] == "900"
    clock.shift(timedelta(minutes=16))
    assert sign_in(staff.user.username, PASSWORD, "192.0.2.1").status_code == 302


def test_strangers_do_not_lock_her_out_where_she_works(staff, clock):
    """From the address where she signed in last week she still does; her name in capitals is hers too."""
    assert sign_in(staff.user.username, PASSWORD, HER_ADDRESS).status_code == 302
    clock.shift(timedelta(days=7))
    guess_from_everywhere(staff.user.username, ACCOUNT_SHORT)
    assert sign_in(staff.user.username, PASSWORD, HER_ADDRESS).status_code == 302
    assert sign_in(staff.user.username, PASSWORD, "192.0.2.1").status_code == 429


def test_an_address_that_she_left_long_ago_is_a_strangers(staff, clock):
    """Thirty days without a sign-in, and it is known no more."""
    sign_in(staff.user.username, PASSWORD, HER_ADDRESS)
    clock.shift(timedelta(days=31))
    guess_from_everywhere(staff.user.username, ACCOUNT_SHORT)
    assert sign_in(staff.user.username, PASSWORD, HER_ADDRESS).status_code == 429


def test_one_password_tried_on_many_accounts_locks_the_address(staff, clock):
    """A hundred names in a quarter of an hour; the next is refused there, and let in elsewhere."""
    for number in range(ADDRESS_SHORT):
        assert sign_in(f"somebody-{number}", "spring is coming", "203.0.113.9").status_code == 200
    assert code_of(sign_in(staff.user.username, PASSWORD, "203.0.113.9")) == (429, "locked_out")
    assert sign_in(staff.user.username, PASSWORD, HER_ADDRESS).status_code == 302


def test_a_try_while_locked_does_not_lengthen_the_lock(staff, clock):
    """Waiting is enough, whatever goes on meanwhile."""
    guess_from_everywhere(staff.user.username, ACCOUNT_SHORT)
    clock.shift(timedelta(minutes=10))
    assert set(guess_from_everywhere(staff.user.username, 50)) == {429}
    clock.shift(timedelta(minutes=6))
    assert sign_in(staff.user.username, PASSWORD, "192.0.2.1").status_code == 302


def test_who_is_not_there_locks_alike(db, clock):
    """A name without an account answers as one with, so that nobody learns which there are."""
    guess_from_everywhere("nobody-of-that-name", ACCOUNT_SHORT)
    assert code_of(sign_in("nobody-of-that-name", "wrong", "192.0.2.1")) == (429, "locked_out")


def test_what_the_trail_is_asked_stands_in_an_index(staff, clock):
    """However long the trail has grown: both questions read the few rows of one name and of one address."""
    run(MANY)
    with CaptureQueriesContext(connection) as queries:
        sign_in(staff.user.username, "wrong", "192.0.2.1")
    asked = [query["sql"] for query in queries if "clinic_accountevent" in query["sql"] and "COUNT" in query["sql"]]
    assert len(asked) == 2
    plans = [str(run(f"EXPLAIN {sql}")) for sql in asked]
    assert "account_event_by_name" in plans[0], plans
    assert "account_event_by_address" in plans[1], plans
