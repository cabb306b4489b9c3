"""A PostgreSQL server of the tests' own: data and socket in a folder of its own, and no network."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

DEBIANS = Path("/usr/lib/postgresql")
"""Where Debian has its programs, by major version."""
MEMORY = Path("/dev/shm")
"""Where its files are, unless that is small: a thousand of them, and disks may be slow."""
ROOM_BYTES = 1 << 30
SUPERUSER = "owner"
GUARDED = "guarded"
"""A role that needs a password; all others come in without."""


def program(name: str) -> str:
    """Where a program of PostgreSQL is: of its newest version."""
    found = sorted(DEBIANS.glob(f"*/bin/{name}"), key=lambda path: int(path.parts[-3]))
    path = str(found[-1]) if found else shutil.which(name)
    assert path is not None, f"PostgreSQL's {name} is missing: run 'make system'"
    return path


@dataclass(frozen=True, slots=True)
class PostgresServer:
    """A server that answers."""

    folder: Path

    def url(self, database: str, user: str = SUPERUSER, password: str = "") -> str:
        """Of one of its databases, by its socket."""
        who = f"{user}:{quote(password)}" if password else user
        return f"postgresql://{who}@/{database}?host={quote(str(self.folder), safe='')}"

    def sql(self, statement: str, database: str = "postgres") -> str:
        """Have a statement carried out, by PostgreSQL's own client; what it answers."""
        done = subprocess.run(
            [program("psql"), "-XAtq", "-v", "ON_ERROR_STOP=1", "-c", statement,
             "-h", str(self.folder), "-U", SUPERUSER, "-d", database],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def make(self, database: str, more: str = "") -> str:
        """Make a database; its URL."""
        self.sql(f'CREATE DATABASE "{database}" {more}')
        return self.url(database)

    def make_schema(self, name: str) -> str:
        """As good as a database, and ten times as quick: the URL of an empty schema of one."""
        self.sql(f'CREATE SCHEMA "{name}"')
        return f"{self.url('postgres')}&options=-csearch_path%3D{name}"

    def start(self) -> None:
        """Start it, and wait until it answers."""
        options = (
            # What a kill of processes leaves needs none of it, and it takes most of the time.
            f"-k {self.folder} -c listen_addresses= -c fsync=off -c full_page_writes=off "
            "-c autovacuum=off -c max_connections=40"
        )
        log = self.folder / "log"
        self._control("start", "-w", "-t", "60", "-l", str(log), "-o", options)

    def stop(self, mode: str = "fast") -> None:
        """End it; `immediate` is as if it had been killed."""
        self._control("stop", "-w", "-m", mode)

    def _control(self, *arguments: str) -> None:
        run([program("pg_ctl"), "-D", str(self.folder / "data"), *arguments])


@contextmanager
def postgres_server() -> Iterator[PostgresServer]:
    """A server that is gone afterwards, with all that it had."""
    # Its socket's path may have 107 letters, so pytest's folders are too deep.
    in_memory = MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > ROOM_BYTES
    folder = Path(tempfile.mkdtemp(prefix="unisono-pg-", dir=MEMORY if in_memory else None))
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, "nobody")
        run(
            [program("initdb"), "-D", str(folder / "data"), "-U", SUPERUSER, "--no-sync",
             "--no-locale", "--encoding=UTF8", "--auth=trust"]
        )  # fmt: skip
        rules = folder / "data" / "pg_hba.conf"
        rules.write_text(f"local all {GUARDED} scram-sha-256\nlocal all all trust\n")
        server = PostgresServer(folder)
        server.start()
        try:
            yield server
        finally:
            server.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def run(command: list[str]) -> None:
    """As somebody who is not root, whom PostgreSQL refuses."""
    user = "nobody" if os.geteuid() == 0 else None
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, user=user, group=user and "nogroup",
        extra_groups=[] if user else None, cwd="/",
    )  # fmt: skip
    assert done.returncode == 0, f"{command[0]}: {done.stdout}{done.stderr}"
