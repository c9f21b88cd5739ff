"""How many quotes were won, by price against cost, customer and month; as a document, a table and a chart."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import get_args

from services.chassis.resources import Resources
from services.quoting.store.decided import DecidedQuote, DecidedStore
from services.shop.interval_chart import Axis, Interval, interval_chart
from services.shop.proportions import counted_share
from shared_schemas.csv_cells import guarded
from shared_schemas.quote import DeclineReason
from shared_schemas.win_rate import (
    BAND_PERCENT,
    HIGHEST_BAND_PERCENT,
    MOST_CUSTOMERS,
    DecidedAtMarkup,
    DecidedQuotes,
    Reason,
    WinRate,
    WonBy,
)

METHOD = (
    "A quote counts once: as accepted where any revision was, else as its latest revision went, declined by decision or expired after its last "
    "day. The share that was won is accepted over decided, with Wilson's interval of 95 in 100. The markup is unit price over planned unit "
    "cost less one, at the quantity that was decided on, else at the middle one of those quoted."
)
READS_WITHIN_S = 3.0
"""So long one answer reads documents of quotes, some milliseconds each; the others are counted as not read yet."""
MOST_ROWS = 25
REASONS: tuple[Reason, ...] = (*get_args(DeclineReason), "not_said")
SHARE_AXIS = Axis(
    "share of decided quotes that were won [%]", tuple((percent / 100, f"{percent}") for percent in range(0, 101, 20))
)
TITLES: dict[WonBy, str] = {"markup": "price over cost", "customer": "customer", "month": "month"}


def win_rate(resources: Resources, *, today: date, since: date | None, until: date | None) -> WinRate:
    """How the quotes went that were decided within these days."""
    store = DecidedStore(resources.database)
    store.bring_up_to_date(today=today, within_s=READS_WITHIN_S)
    return win_rate_of(
        store.decided(today=today, since=since, until=until), open_quotes=store.open(today=today), since=since, until=until
    )


def win_rate_of(quotes: Sequence[DecidedQuote], *, open_quotes: int, since: date | None, until: date | None) -> WinRate:
    """How some quotes went, in whichever order they come."""
    customers: dict[str, list[DecidedQuote]] = defaultdict(list)
    months: dict[str, list[DecidedQuote]] = defaultdict(list)
    for quote in quotes:
        customers[quote.customer].append(quote)
        months[f"{quote.decided_on:%Y-%m}"].append(quote)
    largest = sorted(customers, key=lambda name: (-len(customers[name]), name))
    unknown = [one for one in quotes if one.markup is None]
    return WinRate(
        since=since,
        until=until,
        open=open_quotes,
        without_markup=sum(one.is_read for one in unknown),
        unread=sum(not one.is_read for one in unknown),
        method=METHOD,
        whole=counted("all", quotes),
        by_markup=tuple(_bands(quotes)),
        by_customer=tuple(counted(name, customers[name]) for name in largest[:MOST_CUSTOMERS]),
        by_month=tuple(counted(month, months[month]) for month in sorted(months)),
        left_out=len(largest[MOST_CUSTOMERS:]),
    )


def counted(name: str, quotes: Sequence[DecidedQuote]) -> DecidedQuotes:
    """How some quotes went."""
    went = Counter(one.outcome for one in quotes)
    said = Counter(one.reason or "not_said" for one in quotes if one.outcome == "declined")
    share = counted_share(went["accepted"], len(quotes)) if quotes else None
    return DecidedQuotes(
        name=name,
        decided=len(quotes),
        accepted=went["accepted"],
        declined=went["declined"],
        expired=went["expired"],
        declined_because={reason: said[reason] for reason in REASONS if said[reason]},
        win_share=share and share.share,
        low=share and share.low,
        high=share and share.high,
    )


def band_of(markup: float) -> int:
    """The band that a markup lies in, by the per cent it begins with: below 0 that of all below cost."""
    percent = math.floor(round(100 * markup, 4) / BAND_PERCENT) * BAND_PERCENT
    return min(max(percent, -BAND_PERCENT), HIGHEST_BAND_PERCENT)


def _bands(quotes: Iterable[DecidedQuote]) -> Iterator[DecidedAtMarkup]:
    bands: dict[int, list[DecidedQuote]] = defaultdict(list)
    for one in quotes:
        if one.markup is not None:
            bands[band_of(one.markup)].append(one)
    for begin in sorted(bands):
        low = None if begin < 0 else begin
        high = None if begin >= HIGHEST_BAND_PERCENT else begin + BAND_PERCENT
        name = "below cost" if low is None else f"{low} % and more" if high is None else f"{low} to {high} %"
        yield DecidedAtMarkup(**counted(name, bands[begin]).model_dump(), from_percent=low, to_percent=high)


def win_rate_csv(report: WinRate) -> str:
    """A report as a table: a line for each group."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        (
            "by",
            "name",
            "decided",
            "accepted",
            "declined",
            "expired",
            "win_share",
            "low",
            "high",
            *(f"declined_{one}" for one in REASONS),
        )
    )
    for kind, group in _groups(report):
        figures = [group.win_share, group.low, group.high]
        cells = [group.decided, group.accepted, group.declined, group.expired, *("" if one is None else one for one in figures)]
        writer.writerow([kind, guarded(group.name), *cells, *(group.declined_because.get(one, 0) for one in REASONS)])
    return out.getvalue()


def _groups(report: WinRate) -> Iterator[tuple[str, DecidedQuotes]]:
    yield "all", report.whole
    for kind in TITLES:
        yield from ((kind, group) for group in getattr(report, f"by_{kind}"))


def win_rate_chart(report: WinRate, by: WonBy) -> str:
    """The share won of each group with its interval, as SVG."""
    groups: Sequence[DecidedQuotes] = getattr(report, f"by_{by}")
    chosen = groups[-MOST_ROWS:] if by == "month" else groups[:MOST_ROWS]
    rows = [
        Interval(one.name or "(no name)", one.win_share, one.low, one.high, f"{one.accepted:,} of {one.decided:,}")
        for one in chosen
    ]
    return interval_chart(
        rows, SHARE_AXIS, title=f"Quotes won, by {TITLES[by]}", beside="won of decided",
        description=f"For each {'band of price over cost' if by == 'markup' else by} the share of decided quotes that were won as a dot, "
        "and the interval in which the true share lies 95 times in 100 as a whisker.",
    )  # fmt: skip
