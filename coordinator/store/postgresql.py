"""The database at a PostgreSQL server: where it is, how connections to it behave, who has it.

Connections are psycopg's, an optional extra, by libpq: what a URL may say beside host and name,
where a password is looked for and how the server's is proved is libpq's own (postgresql.org/docs/
current/libpq-connect.html).
"""

import json
import logging
import os
import secrets
import socket
from dataclasses import dataclass, field
from typing import Any, ClassVar, Final

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError

from coordinator.config.settings import SECRETS
from coordinator.store import settings
from coordinator.store.errors import InUseError, StoreError

_SCHEME: Final = "postgresql"
_LOCK: Final = 0x756E69736F6E6F
"""Of whoever writes to the database: an advisory lock, of which each database has its own."""
_HOLDER: Final = (
    "SELECT activity.application_name FROM pg_locks AS held JOIN pg_stat_activity AS activity "
    "USING (pid) WHERE held.locktype = 'advisory' AND held.granted AND held.database = "
    "(SELECT oid FROM pg_database WHERE datname = current_database()) AND "
    f"held.classid = {_LOCK >> 32} AND held.objid = {_LOCK & 0xFFFFFFFF}"
)
_OPENING: Final = "opening"
"""The setting in which whoever opened it last says so."""
_OPENED_LAST: Final = f"SELECT value FROM settings WHERE key = '{_OPENING}'"
_CONNECTING: Final = {
    "connect_timeout": 5,
    # A server that went without a word is given up after 30 s.
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 30_000,
}
"""Parameters of libpq, unless the URL has them."""
_WRITING: Final = (
    "SET lock_timeout = '3s'",
    # What a laptop that went leaves behind lets go of the lock before that laptop comes back.
    "SET tcp_keepalives_idle = 5",
    "SET tcp_keepalives_interval = 5",
    "SET tcp_keepalives_count = 2",
    "SET tcp_user_timeout = 15000",
)
"""Of the session that writes. Whoever ends as another one begins has let go within that time."""
_logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Server:
    """A database at a server."""

    url: URL
    opening: str = field(default_factory=lambda: secrets.token_hex(16), compare=False)
    """Of whoever has this: no other opening of the database has the same."""
    waits_for: ClassVar[str] = "its server"
    begin_anew: ClassVar[str] = "name another database"

    def __str__(self) -> str:
        known = {key: value for key, value in self.url.query.items() if key in ("host", "port")}
        named = URL.create(
            _SCHEME,
            host=self.url.host,
            port=self.url.port,
            database=self.url.database,
            query=known,
        )
        return named.render_as_string()

    def make(self) -> None:
        """Its owner makes it."""

    def engine(self, *, writes: bool) -> Engine:
        """Connections to it, for the one thread that writes or for the one that reads.

        The first that writes keeps all other coordinators from it; a later one, in place of one
        that was lost, is refused where another coordinator used it meanwhile. Raises StoreError.
        """
        here = {"application_name": _who(), "client_encoding": "utf8"} | _CONNECTING
        try:
            self._require_libpq()
            engine = create_engine(
                self.url.set(drivername=f"{_SCHEME}+psycopg"),
                pool_size=1,
                max_overflow=0,
                # A server that was restarted meanwhile costs no write.
                pool_pre_ping=True,
                connect_args={
                    key: value for key, value in here.items() if key not in self.url.query
                },
            )
        except ModuleNotFoundError as error:
            raise StoreError(
                f"{self} cannot be used: for PostgreSQL install the extra of that name, by "
                "'pip install unisono[postgresql]'"
            ) from error
        except ArgumentError as error:
            raise StoreError(f"{self} cannot be used: {error}") from error

        has_been_here = False

        def connected(connection: Any, _record: Any) -> None:
            nonlocal has_been_here
            try:
                # Else what is set would end with the transaction that it is set in.
                connection.autocommit = True
                if writes:
                    self._take(connection)
                    if has_been_here:
                        self._require_same_opening(connection)
                    has_been_here = True
                else:
                    from psycopg import IsolationLevel

                    # All that is read at once is of one instant.
                    connection.isolation_level = IsolationLevel.REPEATABLE_READ
                    connection.read_only = True
                connection.autocommit = False
            except BaseException:
                connection.close()
                raise

        event.listen(engine, "connect", connected)
        return engine

    def require_sound(self, connection: Connection) -> None:
        """Raise StoreError where it cannot keep all letters; warn where it confirms too early."""
        encoding, is_forced = connection.exec_driver_sql(
            "SELECT current_setting('server_encoding'), current_setting('fsync')"
        ).one()
        if encoding != "UTF8":
            raise StoreError(
                f"{self} cannot be used: its encoding is {encoding}, but must be UTF8, which it "
                "is made with ('createdb --encoding=UTF8 --template=template0')"
            )
        if is_forced == "off":
            _logger.warning(
                "%s: its server has fsync off: what it confirms may be lost if its power fails",
                self,
            )

    def _require_libpq(self) -> None:
        """Raise StoreError for a parameter of the URL that is psycopg's own, or nobody's: those
        take no text, and it would break by it.
        """
        from psycopg.pq import Conninfo

        known = {one.keyword.decode() for one in Conninfo.get_defaults()}
        if unknown := [key for key in self.url.query if key not in known]:
            # It may be the end of a password that has an & in it.
            has_password = not SECRETS.isdisjoint(self.url.query)
            what = "a parameter that" if has_password else ", ".join(map(repr, unknown)) + ", which"
            raise StoreError(f"{self} cannot be used: its URL has {what} libpq does not know")
        for key, value in self.url.query.items():
            if not isinstance(value, str) and key not in ("host", "port"):
                raise StoreError(f"{self} cannot be used: its URL has {key!r} more than once")

    def opened(self, connection: Connection) -> None:
        """Say in it who has opened it last."""
        settings.put(connection, _OPENING, self.opening)

    def _require_same_opening(self, connection: Any) -> None:
        """Raise InUseError where another one had it: what this one knows of it is true no more,
        and numbers that it would give are given.
        """
        if connection.execute(_OPENED_LAST).fetchone() != (json.dumps(self.opening),):
            raise InUseError(
                f"another coordinator used {self} while this one had no connection to it; two "
                "cannot drive one arm: end one of them, and start this one anew"
            )

    def _take(self, connection: Any) -> None:
        """Have a session write alone, and only what is on the disk when it is confirmed."""
        from psycopg.errors import LockNotAvailable

        for setting in _WRITING:
            connection.execute(setting)
        (confirms,) = connection.execute("SHOW synchronous_commit").fetchone()
        if confirms == "off":
            connection.execute("SET synchronous_commit = on")
        try:
            connection.execute(f"SELECT pg_advisory_lock({_LOCK})")
        except LockNotAvailable:
            holder = connection.execute(_HOLDER).fetchone()
            raise InUseError(
                f"another coordinator, {(holder and holder[0]) or 'unknown'}, is using {self}; two "
                "cannot drive one arm"
            ) from None


def server_at(text: str) -> Server:
    """The database of a URL. Raises StoreError, which says nothing of a password."""
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        raise StoreError(
            "the database is named by no URL: it must be like postgresql://USER@HOST/NAME, with "
            "special characters as %XX"
        ) from None
    if text.count("@") > (url.username is not None):
        # What stands before it may be part of a password, and would be in the database's name.
        raise StoreError(
            "the database's URL has an @ elsewhere than behind user and password: special "
            "characters are written as %XX, @ as %40"
        )
    if url.drivername != _SCHEME:
        raise StoreError(
            f"the database's URL begins with {url.drivername}://, but must with {_SCHEME}://"
        )
    if not url.database:
        raise StoreError(
            f"the database's URL names no database: it must be like {_SCHEME}://USER@HOST/NAME"
        )
    return Server(url)


def _who() -> str:
    """This process, as the server's owner sees it."""
    return f"process {os.getpid()} on {socket.gethostname()}"
