"""A PostgreSQL server for one run of the tests, from the system's own package (Debian: `postgresql`)."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

from api.cases.database import open_database

UNPRIVILEGED = "nobody"
"""The server refuses to run as root, so that root runs it as this account."""


@dataclass
class Postgres:
    """A running server that listens on a socket in `folder` and on no port."""

    folder: Path
    user: str
    _made: Iterator[int] = field(default_factory=count)
    _migrated: str = ""

    def new_database(self) -> str:
        """The URL of a database that nobody has used."""
        return self._url(self._created())

    def case_database(self) -> str:
        """The URL of a database without cases, brought up to date: a copy of the first one, which is not used."""
        if not self._migrated:
            name = self._created()
            open_database(self._url(name)).dispose()
            self._migrated = name
        return self._url(self._created("-T", self._migrated))

    def _created(self, *options: str) -> str:
        name = f"cases_{next(self._made)}"
        told = ["createdb", "-h", str(self.folder), "-U", self.user, *options, name]
        subprocess.run([program(told[0]), *told[1:]], check=True, capture_output=True)
        return name

    def _url(self, name: str) -> str:
        return f"postgresql://{self.user}@/{name}?host={self.folder}"


@contextmanager
def running_postgres() -> Iterator[Postgres]:
    """Start a server in a folder of its own and stop it at the end. Fails, naming the package, when there is none."""
    with tempfile.TemporaryDirectory(prefix="postgres-") as folder:  # another account could not reach into pytest's own
        yield from _served(Path(folder))


def _served(folder: Path) -> Iterator[Postgres]:
    data, account = folder / "data", UNPRIVILEGED if os.getuid() == 0 else pwd.getpwuid(os.getuid()).pw_name
    data.mkdir(mode=0o700)
    if os.getuid() == 0:
        for path in (folder, data):
            shutil.chown(path, account)

    def run(*command: str) -> None:
        done = subprocess.run(
            [program(command[0]), *command[1:]], user=account, cwd=folder, capture_output=True, text=True, timeout=120
        )
        assert done.returncode == 0, done.stderr + done.stdout

    run("initdb", "-D", str(data), "-U", account, "-A", "trust", "--no-sync", "-E", "UTF8", "--locale=C")
    options = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off -c full_page_writes=off"
    run("pg_ctl", "-D", str(data), "-w", "-l", str(folder / "log"), "-o", options, "start")
    try:
        yield Postgres(folder, account)
    finally:
        run("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")


def program(name: str) -> str:
    """Where one of PostgreSQL's programs is: on the path, or where Debian keeps the servers."""
    kept = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    found = shutil.which(name) or (str(kept[-1]) if kept else None)
    assert found, f"{name} is missing; install PostgreSQL's server (Debian: apt-get install postgresql)"
    return found
