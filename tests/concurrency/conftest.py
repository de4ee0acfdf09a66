"""Tests that commit in threads: their nudges to a worker stay in this process."""

import pytest

from tests.concurrency.racing import broker_at
from tests.scheduling.flow import Flow


@pytest.fixture(autouse=True)
def broker():
    """No worker listens, unless a test starts one."""
    with broker_at("memory://"):
        yield


@pytest.fixture
def flow(own_database):
    """A small team on a database of its own, committed."""
    return Flow()
