"""PostgreSQL: one engine a process, made after the fork; a transaction that rolls back unless its block ends well."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine, create_engine, text


class Database:
    """Connections to one database. Safe over a fork: a child makes an engine of its own on first use."""

    def __init__(self, url: str, *, pool_size: int = 10, most_wait_s: float = 15.0) -> None:
        self._url = url.replace("postgresql://", "postgresql+psycopg://", 1)
        self._pool_size = pool_size
        self._most_wait_s = most_wait_s
        self._engines: dict[int, Engine] = {}
        self._apart: Database | None = None

    @property
    def engine(self) -> Engine:
        """The engine of this process."""
        pid = os.getpid()
        engine = self._engines.get(pid)
        if engine is None:
            for of_parent in [other for other in self._engines if other != pid]:
                inherited = self._engines.pop(of_parent, None)
                if inherited is not None:
                    inherited.dispose(close=False)
            # Where two threads come first, both get the one that is kept: nobody connects through another, which nobody would close.
            engine = self._engines.setdefault(pid, self._new_engine())
        return engine

    def _new_engine(self) -> Engine:
        return create_engine(
            self._url,
            pool_size=self._pool_size,
            max_overflow=0,
            pool_timeout=min(10.0, self._most_wait_s),
            pool_pre_ping=True,
            connect_args={
                "connect_timeout": 3,
                # A server that vanished without a word is given up on after some 20 s, not after hours.
                "keepalives_idle": 10,
                "keepalives_interval": 3,
                "keepalives_count": 3,
                "tcp_user_timeout": 20_000,
                "client_encoding": "utf8",
                "options": f"-c statement_timeout={self._most_wait_s * 1000:.0f} -c lock_timeout={self._most_wait_s * 1000 / 3:.0f}",
            },
        )

    def apart(self) -> Database:
        """The same database through a few connections of its own, which are there when all others are taken, and give up soon."""
        if self._apart is None:
            self._apart = Database(self._url, pool_size=3, most_wait_s=2.0)
        return self._apart

    @contextmanager
    def transaction(self) -> Iterator[Connection]:
        """A connection whose work is committed when the block ends, and rolled back when it raises."""
        with self.engine.begin() as connection:
            yield connection

    def answers(self) -> bool:
        """Whether the database can be asked right now; raises nothing but what the driver raises."""
        with self.engine.connect() as connection:
            return connection.execute(text("select 1")).scalar() == 1

    def close(self) -> None:
        """Give back every connection of this process."""
        engine = self._engines.pop(os.getpid(), None)
        if engine is not None:
            engine.dispose()
        if self._apart is not None:
            self._apart.close()
