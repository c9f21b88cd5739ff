"""How long the impact of a draft on the open book takes through the running box, beside quoting the same book: the ratio is what counts.

Every quote of the book is a lens of its own, of one to three elements, so that nothing is known from another.
"""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx

from services.chassis.one_box import Address, erase, start, stop
from tests.bench.work import request_for

BOOK = 60
ALL_OPEN = 1000
Rows = list[dict[str, Any]]


def lens(place: int) -> dict[str, Any]:
    """The request of a lens that no other of the book is like; of every three one has no coating."""
    kind = "uncoated" if place % 3 == 2 else "spheres"
    asked: dict[str, Any] = json.loads(request_for(1 + place % 3, 4, kind).model_dump_json())
    for element in asked["prescription"]["elements"]:
        element["diameter_mm"] += 0.05 * place
    return asked | {"customer": f"customer {place % 7}"}


def tenth_dearer(*columns: str) -> Callable[[Rows], Rows]:
    """Rows whose columns ask a tenth more."""
    return lambda rows: [{**row, **{name: str(Decimal(row[name]) * Decimal("1.1")) for name in columns}} for row in rows]


DRAFTS: Sequence[tuple[str, str, Callable[[Rows], Rows]]] = (
    ("labour a tenth dearer", "work_centres", tenth_dearer("labour_rate_per_h")),
    ("runs of coating a tenth dearer", "coatings", tenth_dearer("run_consumables")),
    ("metals a tenth dearer", "metals", tenth_dearer("price_per_cm3")),
)


class Engineer:
    """An engineer at the box."""

    def __init__(self, box: Address) -> None:
        self._client = httpx.Client(base_url=box.url, headers={"Authorization": f"Bearer {box.keys['admin']}"}, timeout=90)

    def close(self) -> None:
        """Hang up."""
        self._client.close()

    def quoted_s(self, book: Sequence[dict[str, Any]]) -> float:
        """Seconds in which a whole book is quoted."""
        return self._finished_s("/v1/quote-batches", {"requests": list(book)}, "finished")

    def impact_s(self, table: str, change: Callable[[Rows], Rows]) -> float:
        """Seconds in which a changed table is held against the open book."""
        return self._finished_s("/v1/rates/impact", {"table": table, "rows": change(self._table(table).json()["rows"])}, "done")

    def publish(self, table: str, change: Callable[[Rows], Rows]) -> None:
        """Let all quotes of before be of other rates than today's."""
        page = self._table(table)
        body = {"rows": change(page.json()["rows"]), "reason": "for the bench"}
        self._client.put(f"/v1/rates/tables/{table}", json=body, headers={"If-Match": page.headers["ETag"]}).raise_for_status()

    def _table(self, table: str) -> httpx.Response:
        return self._client.get(f"/v1/rates/tables/{table}").raise_for_status()

    def _finished_s(self, path: str, body: dict[str, Any], ends: str) -> float:
        began = time.monotonic()
        answer = self._client.post(path, json=body).raise_for_status()
        place = f"{path}/{answer.json()['number']}"
        while (found := self._client.get(place, params={"limit": 1}).raise_for_status().json())["status"] != ends:
            time.sleep(0.2)
        if found["counts"].get("ready") != BOOK:
            raise RuntimeError(f"of {BOOK} quotes of the bench came {found['counts']}")
        return time.monotonic() - began


def print_table() -> None:
    """Quote a book, hold drafts against it, publish one, and hold the first against it again."""
    with tempfile.TemporaryDirectory(prefix="blankwright-bench-") as name:
        folder = Path(name) / "box"
        box = start(folder)
        try:
            engineer = Engineer(box)
            quoting_s = engineer.quoted_s([lens(place) for place in range(BOOK)])
            print(f"Impact on an open book of {BOOK} lenses, no two alike, 2 worker processes")
            print(f"{'':<44}{'s':>8}{'of quoting':>12}{f's for {ALL_OPEN:,}':>13}")
            _print("quoting the book (unit)", quoting_s, quoting_s)
            for words, table, change in DRAFTS:
                _print(words, engineer.impact_s(table, change), quoting_s)
            engineer.publish("work_centres", tenth_dearer("machine_rate_per_h"))
            words, table, change = DRAFTS[0]
            _print(f"{words}, all drifted", engineer.impact_s(table, change), quoting_s)
            _print(f"{words}, asked again", engineer.impact_s(table, change), quoting_s)
            engineer.close()
        finally:
            stop(folder)
            erase(folder)


def _print(words: str, seconds: float, quoting_s: float) -> None:
    print(f"{words:<44}{seconds:>8.1f}{seconds / quoting_s:>12.2f}{seconds * ALL_OPEN / BOOK:>13.0f}")
