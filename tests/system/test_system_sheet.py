"""The quote sheet on the running box: a page for the sales desk, and what is answered where there is none."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import httpx
import pypdf
from typer.testing import CliRunner

from services.chassis.one_box import Address
from services.desk.command import app
from tests.system.asking import ask

ClientOf = Callable[[str | None], httpx.Client]
Quoted = Callable[..., dict[str, Any]]


def test_a_ready_quote_has_a_sheet_and_others_have_none(
    box: Address, sales: httpx.Client, client_of: ClientOf, demo: dict[str, Any], quoted: Quoted, tmp_path: Path
) -> None:
    lens = demo["prescription"]
    single = {"title": "<b>one & only</b>", "elements": lens["elements"][:1], "spaces": []}
    asked = {**demo, "prescription": single, "customer": "Tarn & Fell", "quantities": [5, 1200]}
    quote = quoted(sales, asked)
    place = f"/v1/quotes/{quote['number']}/sheet"

    answer = sales.get(place, headers={"Accept": "text/html,application/xhtml+xml;q=0.9"})
    assert answer.status_code == 200, answer.text
    assert answer.headers["Content-Type"] == "text/html; charset=utf-8"
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["Vary"] == "Accept"
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script" not in policy
    for words in (
        quote["number"],
        quote["digest"],
        "Tarn &amp; Fell",
        "&lt;b&gt;one &amp; only&lt;/b&gt;",
        "1,200",
        "Valid until",
    ):
        assert words in answer.text
    assert "<b>" not in answer.text

    assert sales.get(place, params={"revision": 1}).text == answer.text, "no Accept header of its own likes everything"
    assert sales.get(place, params={"revision": 7}).status_code == 404
    assert client_of("erp").get(place).status_code == 403
    assert client_of(None).get(place).status_code == 401
    pdf = sales.get(place, params={"language": "fr", "paper": "letter"}, headers={"Accept": "application/pdf"})
    assert pdf.headers["Content-Type"] == "application/pdf"
    assert pdf.headers["Content-Disposition"] == f'inline; filename="{quote["number"]}-revision-1.pdf"'
    assert "Page 1 sur" in pypdf.PdfReader(BytesIO(pdf.content)).pages[0].extract_text()
    other = sales.get(place, headers={"Accept": "image/png"})
    assert other.status_code == 406
    assert "application/pdf" in other.json()["errors"][0]["limit"]
    unknown = sales.get(place, params={"language": "tlh"})
    assert unknown.status_code == 422
    assert "en, de, fr" in unknown.json()["detail"]
    assert sales.get(place, params={"paper": "a5"}).status_code == 422

    thin = {**single, "elements": [{**lens["elements"][0], "centre_thickness_mm": 0.05}]}
    refused = ask(sales, {**asked, "prescription": thin})
    assert quoted(sales, {**asked, "prescription": thin})["status"] == "refused"
    assert sales.get(f"/v1/quotes/{refused}/sheet").status_code == 404
    assert sales.get("/v1/quotes/Q-2026-999999/sheet").status_code == 404

    out = tmp_path / "sheet.html"
    ran = CliRunner().invoke(app, ["sheet", quote["number"], "--out", str(out), "--url", box.url, "--key", box.keys["sales"]])
    assert ran.exit_code == 0, ran.output
    assert out.read_text(encoding="utf-8") == answer.text
