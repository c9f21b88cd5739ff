"""A customer's file at the command line: drafts printed, questions asked one by one, assumptions confirmed, nothing typed lost."""

from __future__ import annotations

import base64
import io
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from services.desk import terminal
from services.desk.command import app
from services.desk.texts.intake import draft_page
from services.desk.texts.page_parts import console_for
from shared_schemas.intake import Assumption, CellRead, Choice, IntakeDraft, Question, Spot
from shared_schemas.quote import Quote
from shared_schemas.quote_request import QuoteRequest

ACCEPTED = {"number": "BW-7", "status": "accepted", "links": {}}
ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
RADIUS = Question(
    name="check.L1.front.radius_mm", pointer="/prescription/elements/0/front/radius_mm", asks="The lens does not focus. Is it a slip?", figure=61.47,
    choices=(Choice(answer="-61.47", means="a lost minus sign"), Choice(answer="as it stands", means="it is as it was sent")),
    spot=Spot(row=4, column="Radius", letter="B"),
)  # fmt: skip
UNIT = Question(name="unit", pointer="/prescription", asks="In which unit are the lengths?", choices=(Choice(answer="mm", means="millimetres"), Choice(answer="inch", means="inches")), free=False)  # fmt: skip
QUANTITIES = Assumption(pointer="/quantities", what="quantities 5, 25, 100", rule="no quantity is said; these are usual")


@pytest.fixture
def drafts(demo_request: QuoteRequest) -> Callable[..., dict[str, Any]]:
    """Drafts of one file: with these questions and assumptions."""

    def drafted(questions: tuple[Question, ...] = (), assumptions: tuple[Assumption, ...] = ()) -> dict[str, Any]:
        return IntakeDraft(
            name="lens.csv",
            recognised=("CSV, the heads in row 3, one row a surface, mm",),
            document={},
            request=None if questions else demo_request,
            assumptions=assumptions,
            questions=questions,
            cells=(
                CellRead(spot=Spot(row=4, column="Radius", letter="B"), text="61.47", fate="asked" if questions else "used"),
                CellRead(spot=Spot(row=9, column="Note", letter="H"), text="image", fate="not_needed", why="the image plane"),
            ),
            digest="0" * 64,
        ).model_dump(mode="json")

    return drafted


@pytest.fixture
def table(tmp_path: Path) -> Path:
    made = tmp_path / "lens.csv"
    made.write_text("radius,thickness\n61.47,6\n", encoding="utf-8")
    return made


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Any]:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["blankwright"])
    for name in ("BLANKWRIGHT_URL", "BLANKWRIGHT_KEY", "BLANKWRIGHT_FOLDER"):
        monkeypatch.delenv(name, raising=False)
    return lambda *arguments, typed=None: CliRunner().invoke(app, [str(one) for one in arguments], input=typed)


@pytest.fixture
def serve(server: Callable[..., Any], reach: Any) -> Callable[..., Any]:
    def served(*answers: Any) -> Any:
        fake = server(*answers)
        reach(fake.transport)
        return fake

    return served


@pytest.fixture
def at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "somebody_is_there", lambda: True)


def test_a_file_that_leaves_nothing_open_is_quoted_at_once(
    run: Any, serve: Any, drafts: Any, ready_quote: Quote, table: Path
) -> None:
    fake = serve((200, drafts()), (202, ACCEPTED), (200, ready_quote.model_dump(mode="json")))
    done = run("quote", table, *ANY_SERVER, "--quantities", "2, 40", "--currency", "EUR")
    assert done.exit_code == 0, done.output
    sent = json.loads(fake.requests[0].content)
    assert (fake.requests[0].url.path, sent["name"], sent["asked"]) == ("/v1/intake", "lens.csv", {"quantities": [2, 40], "currency": "EUR"})  # fmt: skip
    assert base64.b64decode(sent["content_base64"]) == table.read_bytes()
    assert fake.requests[1].url.path == "/v1/quotes"


def test_without_a_person_questions_are_printed_with_their_cells_and_the_command_that_answers(
    run: Any, serve: Any, drafts: Any, table: Path
) -> None:
    serve((200, drafts((RADIUS, UNIT))))
    done = run("quote", table, *ANY_SERVER)
    assert done.exit_code == 5
    assert "1. [row 4, column B (Radius)] The lens does not focus. Is it a slip?" in done.stdout
    assert "There stands: 61.47" in done.stdout
    assert "a) -61.47 - a lost minus sign" in done.stdout
    assert "--answer 'check.L1.front.radius_mm=...'" in done.stdout
    assert "2 questions are open" in done.stderr
    assert "the image plane: row 9, column H (Note): image" in done.stdout


def test_the_lens_is_shown_as_it_was_read_with_question_marks_where_it_is_not_known(demo_request: QuoteRequest) -> None:
    document = demo_request.model_dump(mode="json")
    del document["prescription"]["elements"][0]["front"]["radius_mm"]
    draft = IntakeDraft(name="lens.csv", recognised=(), document=document, request=None, digest="0" * 64)
    out = io.StringIO()
    console_for(out).print(draft_page(draft))
    rows = [line.split() for line in out.getvalue().splitlines()]
    assert ["Read", "as,", "for", "5,", "25,", "100"] in rows
    (first,) = [row for row in rows if row[:1] == ["L1"]]
    element = demo_request.prescription.elements[0]
    assert first[:6] == ["L1", str(element.glass), "?", f"{element.back.radius_mm:g}", f"{element.centre_thickness_mm:g}", f"{element.diameter_mm:g}"]  # fmt: skip
    assert first[6:] == ["cement"]


def test_without_a_person_assumptions_need_yes(run: Any, serve: Any, drafts: Any, ready_quote: Quote, table: Path) -> None:
    serve((200, drafts((), (QUANTITIES,))))
    done = run("quote", table, *ANY_SERVER)
    assert done.exit_code == 5
    assert "quantities 5, 25, 100 (no quantity is said; these are usual)" in done.stdout
    assert f"blankwright quote {table} --url http://desk.test --yes" in done.stderr
    serve((200, drafts((), (QUANTITIES,))), (202, ACCEPTED), (200, ready_quote.model_dump(mode="json")))
    assert run("quote", table, *ANY_SERVER, "--yes").exit_code == 0


def test_in_json_an_open_draft_is_the_output(run: Any, serve: Any, drafts: Any, table: Path) -> None:
    serve((200, drafts((RADIUS,))))
    done = run("quote", table, *ANY_SERVER, "--json")
    assert done.exit_code == 5
    assert IntakeDraft.model_validate_json(done.stdout).questions == (RADIUS,)
    assert done.stderr == ""


@pytest.mark.usefixtures("at_a_terminal")
def test_at_a_terminal_each_question_is_asked_and_letters_stand_for_choices(
    run: Any, serve: Any, drafts: Any, ready_quote: Quote, table: Path
) -> None:
    fake = serve((200, drafts((RADIUS, UNIT))), (200, drafts((), (QUANTITIES,))), (202, ACCEPTED), (200, ready_quote.model_dump(mode="json")))  # fmt: skip
    done = run("quote", table, *ANY_SERVER, typed="a\nfurlong\nb\ny\n")
    assert done.exit_code == 0, done.output
    assert "furlong is none of these" in done.stderr
    assert json.loads(fake.requests[1].content)["answers"] == {"check.L1.front.radius_mm": "-61.47", "unit": "inch"}


@pytest.mark.usefixtures("at_a_terminal")
def test_a_figure_that_is_typed_is_the_answer_itself(run: Any, serve: Any, drafts: Any, table: Path) -> None:
    fake = serve((200, drafts((RADIUS,))), (200, drafts((), (QUANTITIES,))))
    done = run("quote", table, *ANY_SERVER, typed="-61.5\nn\n")
    assert done.exit_code == 5
    assert json.loads(fake.requests[1].content)["answers"] == {"check.L1.front.radius_mm": "-61.5"}


@pytest.mark.usefixtures("at_a_terminal")
def test_what_was_typed_before_an_abort_stands_in_the_command_that_goes_on(run: Any, serve: Any, drafts: Any, table: Path) -> None:
    serve((200, drafts((RADIUS, UNIT))))
    done = run("quote", table, *ANY_SERVER, "--quantities", "5,10", "--answer", "sign=front first", typed="a\n")
    assert done.exit_code == 5
    assert (
        f"blankwright quote {table} --url http://desk.test --quantities 5,10 --answer 'sign=front first' "
        "--answer check.L1.front.radius_mm=-61.47 --answer unit=..."
    ) in done.stderr


def test_intake_reads_alone_and_writes_the_request(
    run: Any, serve: Any, drafts: Any, table: Path, tmp_path: Path, demo_request: QuoteRequest
) -> None:
    serve((200, drafts((), (QUANTITIES,))))
    out = tmp_path / "request.json"
    done = run("intake", table, "--out", out, *ANY_SERVER)
    assert done.exit_code == 0, done.output
    assert QuoteRequest.model_validate_json(out.read_bytes()) == demo_request
    serve((200, drafts((UNIT,))))
    assert run("intake", table, *ANY_SERVER).exit_code == 5


def test_check_and_batch_take_the_same_files(run: Any, serve: Any, drafts: Any, table: Path) -> None:
    serve((200, drafts((UNIT,))))
    assert run("check", table, *ANY_SERVER).exit_code == 5
    fake = serve((200, drafts((RADIUS,))), (200, drafts()), (200, drafts((UNIT,))))
    done = run("batch", table, table, table, *ANY_SERVER)
    assert done.exit_code == 5
    assert [request.url.path for request in fake.requests] == ["/v1/intake"] * 3, "nothing is sent, and every file is read"
    assert "Is it a slip?" in done.stdout
    assert "In which unit are the lengths?" in done.stdout


def test_a_request_in_json_goes_as_it_is_also_from_the_standard_input(
    run: Any, serve: Any, ready_quote: Quote, demo_path: Path
) -> None:
    fake = serve((202, ACCEPTED), (200, ready_quote.model_dump(mode="json")))
    done = run("quote", "-", *ANY_SERVER, typed=demo_path.read_text(encoding="utf-8"))
    assert done.exit_code == 0, done.output
    assert fake.requests[0].url.path == "/v1/quotes"
    assert "assumptions" not in json.loads(fake.requests[0].content)


def test_a_bare_prescription_says_the_quantities_that_it_takes(
    run: Any, serve: Any, ready_quote: Quote, demo_path: Path, tmp_path: Path
) -> None:
    bare = tmp_path / "lens.json"
    bare.write_text(json.dumps(json.loads(demo_path.read_text(encoding="utf-8"))["prescription"]), encoding="utf-8")
    fake = serve((202, ACCEPTED), (200, ready_quote.model_dump(mode="json")))
    done = run("quote", bare, *ANY_SERVER)
    assert "no quantity is said: quoted for 5, 25, 100; others with --quantities" in done.stderr
    assert json.loads(fake.requests[0].content)["assumptions"] == ["quantities 5, 25, 100 (no quantity is said; these are usual)"]


def test_a_file_that_is_too_large_is_not_sent(run: Any, serve: Any, tmp_path: Path) -> None:
    fake = serve()
    large = tmp_path / "scan.tif"
    with large.open("wb") as file:
        file.truncate(20 * 2**20)
    done = run("quote", large, *ANY_SERVER)
    assert done.exit_code == 2
    assert "it has 20 MiB, and no table of a lens is larger than 4 MiB" in done.stderr
    assert fake.requests == []


def test_an_answer_without_a_name_is_a_usage_error(run: Any, serve: Any, table: Path) -> None:
    serve()
    done = run("quote", table, *ANY_SERVER, "--answer", "inch")
    assert done.exit_code == 2
    assert "--answer: it is not NAME=VALUE" in done.stderr


def test_what_goes_with_an_order_is_said_beside_the_file(
    run: Any, serve: Any, drafts: Any, ready_quote: Quote, table: Path
) -> None:
    fake = serve((200, drafts()), (202, ACCEPTED), (200, ready_quote.model_dump(mode="json")))
    terms = ("--reference", "RFQ 7", "--spare", "L3=5", "--spare", "L1+L2=2", "--deliver", "10@2027-03-15", "--deliver", "15")
    done = run("quote", table, *ANY_SERVER, *terms, "--include", "measuring report")
    assert done.exit_code == 0, done.output
    assert json.loads(fake.requests[0].content)["asked"] == {
        "reference": "RFQ 7",
        "spares": [{"part": "L3", "pieces": 5}, {"part": "L1+L2", "pieces": 2}],
        "deliveries": [{"quantity": 10, "by": "2027-03-15"}, {"quantity": 15, "by": None}],
        "own_operations": ["measuring report"],
    }


def test_an_abort_says_again_what_goes_with_the_order(run: Any, serve: Any, drafts: Any, table: Path) -> None:
    serve((200, drafts((UNIT,))))
    done = run("quote", table, *ANY_SERVER, "--spare", "L3=5", "--include", "measuring report")
    assert done.exit_code == 5
    assert "--spare L3=5 --include 'measuring report'" in " ".join(done.stderr.split()) + " ".join(done.stdout.split())


@pytest.mark.parametrize("text", ["L3", "L3=", "=5", "L3=five", "L3=-1"])
def test_spare_parts_that_are_none_are_a_usage_error(text: str, run: Any, table: Path) -> None:
    done = run("quote", table, *ANY_SERVER, "--spare", text)
    assert done.exit_code == 2
    assert "write L3=5" in " ".join(done.stderr.split())
