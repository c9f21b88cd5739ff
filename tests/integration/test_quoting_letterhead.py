"""The seller's letterhead through the routes, on a real PostgreSQL: who changes it, which pictures are taken, and what offers say with it and without."""

from __future__ import annotations

import struct
import zlib
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from shared_schemas.rates import Rates
from tests.integration.test_quoting_life_routes import Shop, request_of_two

__all__ = ["request_of_two"]

SELLER = {
    "name": "Halden & Marsh <Optics>",
    "address": ["Mill Lane 4"],
    "payment": {"en": "30 days net.", "de": "30 Tage netto."},
    "tax_id": "XX 1",
}
PLACE, LOGO = "/v1/letterhead", "/v1/letterhead/logo"


def png(width: int = 8, height: int = 4, *, told: tuple[int, int] | None = None) -> bytes:
    """A grey picture, written by the standard (ISO/IEC 15948; from memory); `told` is what its head says instead."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", *(told or (width, height)), 8, 0, 0, 0, 0)
    lines = zlib.compress(b"".join(b"\0" + b"\x80" * width for _ in range(height)))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", lines) + chunk(b"IEND", b"")


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


def put(shop: Shop, path: str, tag: str | None = None, *, role: str = "admin", **more: Any) -> Any:
    return shop.ask("PUT", path, role=role, headers={"If-Match": tag} if tag else {}, **more)


def test_a_letterhead_is_put_read_and_changed_by_who_read_it(shop: Shop, database: Database) -> None:
    missing = shop.ask("GET", PLACE)
    assert missing.status_code == 404
    assert "the seller's name is missing" in missing.json()["detail"]
    assert put(shop, PLACE, json=SELLER, role="sales").status_code == 403
    first = put(shop, PLACE, json=SELLER)
    assert first.status_code == 200, first.text
    tag = first.headers["ETag"]
    assert shop.ask("GET", PLACE).json() == first.json()
    assert first.json()["version"] == 1
    assert shop.ask("GET", PLACE, headers={"If-None-Match": tag}).status_code == 304

    assert put(shop, PLACE, json=SELLER).status_code == 428
    second = put(shop, PLACE, tag, json={**SELLER, "phone": "+44 1632 960 114"})
    assert second.json()["version"] == 2
    stale = put(shop, PLACE, tag, json=SELLER)
    assert stale.status_code == 412
    assert stale.headers["ETag"] == second.headers["ETag"]
    newline = put(shop, PLACE, second.headers["ETag"], json={**SELLER, "email": "a@b.example\nBcc: c@d.example"})
    assert newline.status_code == 422
    assert newline.json()["errors"][0]["pointer"] == "/email"
    two = put(shop, PLACE, second.headers["ETag"], json={**SELLER, "email": "a@b.example, c@d.example"})
    assert two.status_code == 422, "a mail comes from one address"

    changes = [entry["subject"] for entry in shop.get("/v1/audit?action=letterhead.change", role="admin")["items"]]
    assert changes == ["letterhead 2", "letterhead 1"]
    for statement in ("update quoting.letterheads set document = 'x'", "delete from quoting.letterheads"):
        with pytest.raises(DBAPIError, match="never changed"), database.transaction() as connection:
            connection.execute(text(statement))


UNUSABLE = {
    b"": "no picture that is known here",
    b"GIF89a" + b"\0" * 40: "no picture that is known here",
    b"<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>": "drawn in SVG",
    png()[:60]: "cannot be read to its end",
    png(told=(50_000, 50_000)): "too many pixels",
    b"\xff\xd8\xff\xe0\x00\x02" + b"\xff\xc0\x00\x11\x08\x00\x10\x00\x10" + b"\0" * 40: "cannot be read to its end",
    png() + b"\0" * (512 * 1024): "too large",
}
"""Nothing, another kind, one that may run scripts, one cut off, a bomb, a head alone, one above 512 KiB."""


def test_a_logo_that_no_page_can_be_set_with_is_refused_in_words(shop: Shop) -> None:
    tag = put(shop, PLACE, json=SELLER).headers["ETag"]
    for content, said in UNUSABLE.items():
        answer = put(shop, LOGO, tag, content=content)
        assert answer.status_code == 422, answer.text
        assert said in answer.json()["detail"]
        assert "PNG or JPEG" in answer.json()["errors"][0]["remedy"]
    assert put(shop, LOGO, content=png()).status_code == 428
    assert put(shop, LOGO, '"letterhead-7"', content=png()).status_code == 412
    assert shop.get(PLACE)["version"] == 1


def test_a_logo_of_forty_megabytes_is_refused_before_it_is_read(shop: Shop) -> None:
    tag = put(shop, PLACE, json=SELLER).headers["ETag"]
    answer = put(shop, LOGO, tag, content=b"\0" * 40_000_000)
    assert answer.status_code == 413
    assert answer.json()["type"].endswith("body-too-large")


def test_offers_are_set_on_the_letterhead_and_say_so_where_there_is_none(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    place = f"/v1/quotes/{number}/sheet"
    assert "has not entered a letterhead" in shop.ask("GET", place).text
    tag = put(shop, PLACE, json=SELLER).headers["ETag"]
    no_picture_yet = shop.ask("GET", place).text
    assert "Halden &amp; Marsh &lt;Optics&gt;" in no_picture_yet
    assert "has not entered a letterhead" not in no_picture_yet
    assert "<img" not in no_picture_yet
    kept = put(shop, LOGO, tag, content=png(640, 200))
    assert kept.json()["logo"]["width_px"] == 640
    assert 'src="data:image/png;base64,' in shop.ask("GET", place).text
    german = shop.ask("GET", f"{place}?language=de", headers={"Accept": "application/pdf"})
    assert german.headers["Content-Type"] == "application/pdf"
    assert b"/Image" in german.content
