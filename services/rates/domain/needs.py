"""What this release asks of the rates: tables, columns and rows without which quotes fail; and a revision completed with them.

A shop's revision may be older than the release: what came since stands in the tables that the suite is delivered with, and is added
from there. What is needed follows from those tables: each row answers one or more questions, and a question that a delivered row
answers has to be answered by every shop, unless `SPARED` says that a shop may be without it. The shop's own figures stay.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import ValidationError

from services.rates.domain.seed import seed_rates
from shared_schemas.problem import Explained, ProblemDetail
from shared_schemas.rate_row import ADDED_BY_RELEASE
from shared_schemas.rate_rows_of_work import id_of
from shared_schemas.rates import TABLES, RateRow, Rates

Question = tuple[str, ...]
"""What a table is asked for, in words from the general to the particular, such as (`polish`, `block`)."""

LONGEST_SOURCE = 400


@dataclass(frozen=True)
class Gap:
    """One thing that this release needs and a revision does not have: an answer to a question, or a column."""

    table: str
    question: Question = ()
    column: str = ""
    rows: tuple[str, ...] = ()
    """Rows of the delivered tables that would do; none for a column."""

    def __str__(self) -> str:
        if self.column:
            return f"{self.table} has no column {self.column}"
        wanted = " ".join(word for word in self.question if word).replace("_", " ")
        return f"{self.table} has no row for {wanted}" if wanted else f"{self.table} has no row"


@dataclass(frozen=True)
class Completion:
    """The tables of a revision with what was missing added, and what that was; nothing missing, the tables as they were."""

    tables: Mapping[str, tuple[RateRow, ...]]
    gaps: tuple[Gap, ...]

    @property
    def changed(self) -> tuple[str, ...]:
        """The tables in which something was missing, and those that follow them."""
        tables = {gap.table for gap in self.gaps}
        return tuple(table for table in TABLES if table in tables or (table == "shop_load" and "work_centres" in tables))


class ColumnUnknown(Explained):
    """A release needs a column, and no delivered row says what would do."""

    def __init__(self, table: str, column: str) -> None:
        remedy = f"fill in {column}"
        super().__init__(
            f"The rate table {table} needs {column}, and no delivered row has it.",
            ProblemDetail(pointer="/rows", reason="it is missing", remedy=remedy),
        )


def _any(row: Any) -> Iterator[Question]:
    yield ()


def _by(*columns: str) -> Callable[[Any], Iterator[Question]]:
    def question(row: Any) -> Iterator[Question]:
        yield tuple(str(getattr(row, column)) for column in columns)

    return question


def _centres(row: Any) -> Iterator[Question]:
    for operation in row.operations:
        yield (operation, row.method)


def _grinding(row: Any) -> Iterator[Question]:
    which = {"generate": f"class {row.grindability_hg}", "fine_grind": row.method or "any method"}.get(row.stage, "")
    yield (row.stage, "volume" if row.method == "volume" else which)


def _tooling(row: Any) -> Iterator[Question]:
    if not row.owned:
        yield ("a new", row.kind)


def _extra_work(row: Any) -> Iterator[Question]:
    if row.operation == "bevel":
        yield ("bevel", f"per {row.per}")


def _packing(row: Any) -> Iterator[Question]:
    yield ("tray or box",) if row.kind in ("tray", "box") else (row.kind,)


QUESTIONS: dict[str, Callable[[Any], Iterable[Question]]] = {
    "glasses": _any,
    "stock_forms": _any,
    "allowances": _by("kind"),
    "work_centres": _centres,
    "grinding": _grinding,
    "polishing": _by("method"),
    "aspheres": _any,
    "tolerance_classes": _by("attribute"),
    "coatings": _any,
    "tooling": _tooling,
    "cementing": _any,
    "assembly": _by("operation"),
    "inspection": _by("looks_at"),
    "extra_work": _extra_work,
    "yields": _by("operation", "method"),
    "hardware": _packing,
    "metals": _any,
    "turning": _by("kind"),
    "commercial": _any,
    "currencies": _any,
    "calendar": _any,
}
"""What the rows of each table are asked for."""

MACHINES_OF_THEIR_OWN = ("volume", "automatic")
"""Ways of working that a shop has or has not: no release adds a machine that nobody bought."""

ASPHERIC = ("form", "asphere", "profile", "fine profile", "stitch", "null")
"""Methods of aspheric faces: added where a shop has no row for aspheric faces at all, and otherwise as its own rows ask for them."""

SPARED: dict[str, frozenset[str]] = {
    "allowances": frozenset({"on_diameter_small"}),
    "tooling": frozenset({"coating_trial"}),
    "inspection": frozenset({"centring", "centre_thickness", "diameter", "coating", "record", "chips", "joined", "coated", "form"}),
}
"""Questions by their last word that a shop may leave without an answer: it does not do that, and nothing of it is charged."""


def completed(documents: Mapping[str, Sequence[Mapping[str, Any]]], *, release: str) -> Completion:
    """The tables of a stored revision as this release needs them; each addition says in its source which release made it.

    Raises `ColumnUnknown` where a column is needed that no delivered row has.
    """
    gaps: list[Gap] = []
    tables = {table: tuple(_readable(table, documents.get(table, ()), release, gaps)) for table in TABLES}
    known = Rates(**tables)
    for table in QUESTIONS:
        asked = unanswered(known, table)
        gaps += [Gap(table, question, rows=tuple(row.name for row in rows)) for question, rows in asked.items()]
        tables[table] = (*tables[table], *_added(table, asked, tables[table], release))
    tables["shop_load"] = (*tables["shop_load"], *_loads(tables, known, release))
    return Completion(tables, tuple(gaps))


def unanswered(rates: Rates, table: str) -> dict[Question, tuple[RateRow, ...]]:
    """The questions to a table that its rows do not answer, each with the delivered rows that do."""
    delivered: dict[Question, list[RateRow]] = {}
    for row in getattr(_delivered(), table):
        for question in QUESTIONS[table](row):
            delivered.setdefault(question, []).append(row)
    there = {question for row in getattr(rates, table) for question in QUESTIONS[table](row)}
    return {
        question: tuple(rows)
        for question, rows in delivered.items()
        if not _is_answered(question, there, rates, table) and not _is_spared(question, delivered, rates, table)
    }


def _is_answered(question: Question, there: set[Question], rates: Rates, table: str) -> bool:
    if table in ("work_centres", "yields"):
        # What is done for an operation in general answers for each of its methods, but not for aspheric faces that were never priced.
        generally = question[1] not in ASPHERIC or bool(rates.aspheres)
        return question in there or (generally and (question[0], "") in there)
    if table == "grinding" and question[0] == "fine_grind":
        return question in there or ("fine_grind", "any method") in there
    if table in ("turning", "metals"):
        # A part that is bought by size is not turned.
        bought = {row.kind for row in rates.hardware}
        kinds = set(question) if table == "turning" else {row.kind for row in _delivered().turning}
        return question in there or kinds <= bought
    return question in there


def _is_spared(question: Question, delivered: Container[Question], rates: Rates, table: str) -> bool:
    if table in ("work_centres", "yields") and question[1] and (question[0], "") in delivered:
        # Beside the general way; that of aspheric faces goes with their rows.
        return question[1] not in ASPHERIC or bool(rates.aspheres)
    return bool(question) and (question[-1] in MACHINES_OF_THEIR_OWN or question[-1] in SPARED.get(table, ()))


@cache
def _delivered() -> Rates:
    return seed_rates()


def _added(table: str, asked: Mapping[Question, Sequence[RateRow]], beside: Sequence[RateRow], release: str) -> Iterator[RateRow]:
    """The delivered rows that answer what was asked, each once and as one of the shop's, under a name that is free."""
    names = {row.name for row in beside}
    for row in dict.fromkeys(row.name for rows in asked.values() for row in rows):
        delivered = next(one for one in getattr(_delivered(), table) if one.name == row)
        update: dict[str, Any] = {"source": _source(release, delivered.source)}
        if row in names:
            update["name"] = f"{row[:45]}, {release}"[:60]
            if table == "work_centres":
                update["id"] = id_of(update["name"])
        if table == "work_centres":
            # The shop has others for the rest of what such a work centre does.
            update["operations"] = tuple(one for one in delivered.operations if (one, delivered.method) in asked)
        yield delivered.model_copy(update=update)


def _source(release: str, source: str) -> str:
    return f"{ADDED_BY_RELEASE} {release}: {source}"[:LONGEST_SOURCE]


def _loads(tables: Mapping[str, tuple[RateRow, ...]], before: Rates, release: str) -> Iterator[RateRow]:
    """How busy the work centres are that were added, as the delivered table says of them."""
    had = {row.name for row in before.work_centres} | {row.name for row in before.shop_load}
    usual = {row.name: row for row in _delivered().shop_load}
    for row in tables["work_centres"]:
        if row.name not in had and row.name in usual:
            load = usual[row.name]
            yield load.model_copy(update={"source": _source(release, load.source)})


def _readable(table: str, documents: Sequence[Mapping[str, Any]], release: str, gaps: list[Gap]) -> Iterator[RateRow]:
    """The stored rows of a table by today's columns: those that are missing filled in, those that are gone left out."""
    shape = TABLES[table]
    for document in documents:
        try:
            row = shape.model_validate(document)
        except ValidationError as fault:
            columns: dict[str, list[str]] = {}
            for error in fault.errors():
                columns.setdefault(error["type"], []).append(str(error["loc"][0]))
            row = shape.model_validate(_mended(table, document, columns, release, gaps))
        yield row


def _mended(
    table: str, document: Mapping[str, Any], columns: Mapping[str, Sequence[str]], release: str, gaps: list[Gap]
) -> dict[str, Any]:
    mended = {name: value for name, value in document.items() if name not in columns.get("extra_forbidden", ())}
    missing = columns.get("missing", ())
    for column in missing:
        mended[column] = _of_delivered(table, str(document.get("name")), column)
        if Gap(table, column=column) not in gaps:
            gaps.append(Gap(table, column=column))
    if missing:
        mended["source"] = f"{document.get('source')}; {', '.join(missing)} {ADDED_BY_RELEASE} {release}"[-LONGEST_SOURCE:]
    return mended


def _of_delivered(table: str, name: str, column: str) -> Any:
    """What a delivered row has in a column: that of the same name, otherwise the first."""
    rows = getattr(_delivered(), table)
    if not rows:
        raise ColumnUnknown(table, column)
    row = next((row for row in rows if row.name == name), rows[0])
    return row.model_dump(mode="json", by_alias=True)[column]


@dataclass(frozen=True)
class Shortcomings:
    """Of a revision: what this release needs and it does not have, and rows that stand as a release added them."""

    gaps: tuple[str, ...]
    unconfirmed: Mapping[str, tuple[str, ...]]
    """Names of rows by their table; an engineer confirms one by a source of the shop's own."""

    def in_words(self) -> str:
        """What is missing in a sentence; empty where nothing is."""
        return f"{'; '.join(_some(self.gaps, 6))}: run the migrations, or add them" if self.gaps else ""

    def to_confirm(self) -> str:
        """What is unconfirmed in a sentence; empty where nothing is."""
        return "; ".join(f"{table}: {', '.join(_some(rows, 4))}" for table, rows in self.unconfirmed.items())


def shortcomings_of(documents: Mapping[str, Sequence[Mapping[str, Any]]]) -> Shortcomings:
    """What the tables of a stored revision lack."""
    added = {
        table: tuple(str(row["name"]) for row in documents.get(table, ()) if ADDED_BY_RELEASE in str(row["source"]))
        for table in TABLES
    }
    unconfirmed = {table: names for table, names in added.items() if names}
    try:
        gaps = tuple(map(str, completed(documents, release="").gaps))
    except (ColumnUnknown, ValidationError) as fault:
        gaps = (f"the newest revision cannot be read: {str(fault).splitlines()[0]}",)
    return Shortcomings(gaps, unconfirmed)


def _some(names: Sequence[str], most: int) -> list[str]:
    return [*names[:most], *([f"and {len(names) - most} more"] if len(names) > most else [])]
