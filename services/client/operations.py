"""Every operation of both clients, by the name that a caller uses."""

from __future__ import annotations

from services.client.calls import estimating, offers, operating, quoting, rates, shop, waits
from services.client.operation import operation


class Operations:
    """What a server can be asked. `client.quote("Q-2026-000001")` returns the answer, or is awaited where the client is asynchronous."""

    check = operation(quoting.check)
    request_quote = operation(quoting.request_quote)
    requote = operation(quoting.requote)
    decide = operation(quoting.decide)
    compare = operation(quoting.compare)
    request_batch = operation(quoting.request_batch)
    batch = operation(quoting.batch)
    quote = operation(quoting.quote)
    quotes = operation(quoting.quotes)
    request_of = operation(quoting.request_of)
    cancel = operation(quoting.cancel)
    sheet = operation(offers.sheet)
    ubl = operation(quoting.ubl)
    buy_together = operation(quoting.buy_together)
    request_what_if = operation(quoting.request_what_if)
    what_if = operation(quoting.what_if)
    wait_for_quote = operation(waits.wait_for_quote)
    wait_for_batch = operation(waits.wait_for_batch)
    wait_for_what_if = operation(waits.wait_for_what_if)

    intake = operation(estimating.intake)
    worksheet = operation(estimating.worksheet)
    change_worksheet = operation(estimating.change_worksheet)
    approve = operation(estimating.approve)

    promise = operation(shop.promise)
    load = operation(shop.load)
    estimates = operation(shop.estimates)
    estimate = operation(shop.estimate)
    estimate_plan = operation(shop.estimate_plan)
    estimate_csv = operation(shop.estimate_csv)

    rate_revisions = operation(rates.rate_revisions)
    rate_table = operation(rates.rate_table)
    put_rate_table = operation(rates.put_rate_table)
    rate_impact = operation(rates.rate_impact)
    impact = operation(rates.impact)
    wait_for_impact = operation(waits.wait_for_impact)

    dead_letters = operation(operating.dead_letters)
    replay = operation(operating.replay)
    is_ready = operation(operating.is_ready)
    parts = operation(operating.parts)
