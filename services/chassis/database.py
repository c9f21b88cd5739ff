"""PostgreSQL: one engine a process, made after the fork; a transaction that rolls back unless its block ends well."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine, create_engine, text


class Database:
    """Connections to one database. Safe over a fork: a child makes an engine of its own on first use."""

    def __init__(self, url: str, *, pool_size: int = 10) -> None:
        self._url = url.replace("postgresql://", "postgresql+psycopg://", 1)
        self._pool_size = pool_size
        self._engines: dict[int, Engine] = {}

    @property
    def engine(self) -> Engine:
        """The engine of this process."""
        pid = os.getpid()
        if pid not in self._engines:
            for inherited in self._engines.values():
                inherited.dispose(close=False)
            self._engines = {pid: self._new_engine()}
        return self._engines[pid]

    def _new_engine(self) -> Engine:
        return create_engine(
            self._url,
            pool_size=self._pool_size,
            max_overflow=0,
            pool_timeout=10,
            pool_pre_ping=True,
            connect_args={
                "connect_timeout": 3,
                "client_encoding": "utf8",
                "options": "-c statement_timeout=15000 -c lock_timeout=5000",
            },
        )

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
