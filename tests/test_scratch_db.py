import os, threading
import pytest
from django.db import connection, connections
from clinic.models import Organization

def test_pure(): pass

@pytest.mark.django_db
def test_suite_db():
    assert connection.settings_dict["NAME"].startswith("test_record_")
    assert Organization.objects.count() == 0
    Organization.objects.create(name="x", time_zone="UTC")

@pytest.mark.django_db
def test_suite_db_again():
    assert Organization.objects.count() == 0

def test_blocked():
    with pytest.raises(RuntimeError):
        Organization.objects.count()

@pytest.mark.parametrize("n", range(3))
def test_own(own_database, n):
    assert Organization.objects.count() == 0
    def work():
        Organization.objects.create(name="x", time_zone="UTC")
        connections.close_all()
    ts=[threading.Thread(target=work) for _ in range(4)]
    [t.start() for t in ts]; [t.join() for t in ts]
    assert Organization.objects.count() == 4
    import psycopg
    with psycopg.connect(own_database) as c:
        assert c.execute("select count(*) from clinic_organization").fetchone() == (4,)
def test_leak_thread(own_database):
    t=threading.Thread(target=lambda: Organization.objects.count()); t.start(); t.join()

@pytest.mark.django_db
def test_both(request):
    with pytest.raises(pytest.fail.Exception): request.getfixturevalue("own_database")
@pytest.mark.django_db
def test_suite_db_after():
    assert Organization.objects.count() == 0
