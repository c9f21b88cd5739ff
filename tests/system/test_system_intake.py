"""A customer's table through the door of a running box: read, looked over by the real check, confirmed, quoted."""

from __future__ import annotations

import httpx

from tests.system.asking import finished

DOUBLET = (
    "surface,radius_mm,thickness_mm,glass,clear_diameter_mm,diameter_mm\n"
    "1,61.47,6.0,N-BK7,23,25.4\n2,-44.64,2.5,SF5,23,25.4\n3,-129.94,95,,23,25.4\n"
)


def test_a_table_becomes_a_draft_and_its_confirmation_a_quote_that_carries_what_was_assumed(sales: httpx.Client) -> None:
    said = {"text": DOUBLET, "name": "doublet.csv"}
    read = sales.post("/v1/intake", json=said)
    assert read.status_code == 200, read.text
    answers = {question["name"]: question["choices"][0]["answer"] for question in read.json()["questions"]}
    draft = sales.post("/v1/intake", json={**said, "answers": answers}).json()
    assert draft["questions"] == []
    confirmed = {**said, "answers": answers, "confirm": draft["digest"]}
    made = sales.post("/v1/intake", json=confirmed, headers={"Idempotency-Key": "a-doublet"})
    assert made.status_code == 202, made.text
    again = sales.post("/v1/intake", json=confirmed, headers={"Idempotency-Key": "a-doublet"})
    assert again.json()["number"] == made.json()["number"]
    assert made.headers["Location"] == f"/v1/quotes/{made.json()['number']}"
    quote = finished(sales, made.json()["number"])
    assert quote["status"] == "ready"
    assert [one["glass"] for one in quote["prescription"]["elements"]] == ["N-BK7", "SF5"]
