"""A file that remembers under which Idempotency-Key a request was sent, so that a program that was ended sends it again under the same.

The key is on the disk before the request leaves. Of the request itself there is a digest only.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from services.client.errors import JournalUnusable

KEPT_S = 24 * 3600.0
"""Within a day the same request is taken for the same quote; a server keeps keys for longer (30 days, as it is delivered)."""
BUSY_S = 10.0


class Journal:
    """Keys by request, in a file that several threads and programs may share. `now` is in seconds since 1970."""

    def __init__(self, path: str | Path, *, kept_s: float = KEPT_S, now: Callable[[], float] = time.time) -> None:
        self._path = Path(path)
        self._kept_s = kept_s
        self._now = now

    def key_for(self, request: str, new_key: Callable[[], str]) -> str:
        """The key under which this very request was sent before, else a new one, which is then kept. Raises `JournalUnusable`."""
        digest, now = hashlib.sha256(request.encode()).hexdigest(), self._now()
        try:
            os.close(os.open(self._path, os.O_CREAT | os.O_RDWR, 0o600))  # nobody else's to read
            with closing(sqlite3.connect(self._path, timeout=BUSY_S, isolation_level=None)) as file:
                file.execute("pragma synchronous = full")
                file.execute("begin immediate")
                file.execute("create table if not exists sent (request text primary key, key text not null, at real not null)")
                file.execute("delete from sent where at < ?", (now - self._kept_s,))
                file.execute("insert or ignore into sent values (?, ?, ?)", (digest, new_key(), now))
                (key,) = file.execute("select key from sent where request = ?", (digest,)).fetchone()
                file.execute("commit")
                return str(key)
        except (OSError, sqlite3.Error) as fault:
            raise JournalUnusable(str(self._path), str(fault)) from fault
