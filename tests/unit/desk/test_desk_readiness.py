"""The command that says what of the money quoted rests on invented or stale rows."""

from __future__ import annotations

from typing import Any

from typer.testing import CliRunner

from services.desk.command import app

THERE = ["--url", "http://desk.test", "--key", "k"]
DOCUMENT: dict[str, Any] = {
    "rate_revision": 4, "at": "2026-11-30T09:00:00Z", "currency": "USD", "quotes": 2, "quotes_untold": 1, "total": "1000.00",
    "by_origin": [{"origin": "invented", "rows": 2, "money": "600.00", "share": 0.6}, {"origin": None, "rows": 1, "money": "400.00", "share": 0.4}],
    "stale": "400.00", "stale_share": 0.4,
    "by_table": [{"table": "commercial", "review_days": 365, "rows": 1, "money": "600.00", "share": 0.6, "invented": "600.00", "stale": "0.00"}],
    "rows_to_make_ready": 2,
    "rows": [
        {"table": "commercial", "row": "standard", "origin": "invented", "document": "", "as_of": "2026-11-02", "age_days": 28, "stale": False,
         "money": "600.00", "share": 0.6, "what_to_do": "put the shop's own figure in its place"},
        {"table": "currencies", "row": "EUR", "origin": "supplier", "document": "q", "as_of": "2026-11-02", "age_days": 28, "stale": True,
         "money": "0.01", "share": 0.0, "what_to_do": "ask the supplier"},
    ],
    "unused": [{"table": "coatings", "invented": 22, "stale": 0}],
}  # fmt: skip


def test_it_tells_the_money_by_origin_table_and_row(server: Any, reach: Any) -> None:
    fake = server((200, DOCUMENT))

    reach(fake.transport)
    done = CliRunner().invoke(app, ["rates", "readiness", "--quote", "Q-1", "--quote", "Q-2", "--most", "1", *THERE])
    assert done.exit_code == 0, done.output
    (asked,) = fake.requests
    assert (asked.url.path, asked.url.params.get_list("quote")) == ("/v1/rates/readiness", ["Q-1", "Q-2"])
    for words in (
        "Readiness of rate revision 4, by 2 quotes of 1,000.00 USD. 1 more do not tell", "invented: 600.00 USD, 60.0%, on 2 rows",
        "no longer there: 400.00 USD, 40.0%, on 1 row", "stale, whatever the origin: 400.00 USD, 40.0%", "365 days", "To make ready: 2 rows",
        "put the shop's own figure", "coatings: 22 invented, 0 stale",
    ):  # fmt: skip
        assert words in done.output, done.output
    assert "ask the supplier" not in done.output
