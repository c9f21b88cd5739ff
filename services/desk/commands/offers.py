"""Commands about offers: the customer's sheet of a quote, as a page or as a PDF, and sent."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from pydantic import ValidationError

from services.client.calls.offers import Form, Paper
from services.desk.commands.quote import Revision
from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported, unusable, write_file

FORMS: dict[str, Form] = {".pdf": "pdf", ".html": "html", ".htm": "html"}
NEXT = {"pdf": "ready to be mailed", "html": "open it in a browser, and print it from there"}
Language = Annotated[str | None, typer.Option(help="The customer's language: en, de or fr.")]
OnPaper = Annotated[Paper | None, typer.Option(help="The paper that it is set for.")]


def sheet(
    number: str,
    out: Annotated[Path, typer.Option(help="The file to write: quotation.pdf or quotation.html; one that is there is replaced.")],
    revision: Revision = None, language: Language = None, paper: OnPaper = None, url: Url = None, key: Key = None, folder: Folder = HERE,
    as_json: Json = False,
) -> None:  # fmt: skip
    """Write the customer's offer of a ready quote, by the file's ending as a PDF or as a page of HTML."""
    with reported(as_json=as_json):
        form = _form_of(out)
        with client_for(url, key, folder, role="sales") as desk:
            content = desk.sheet(number, revision, form=form, language=language, paper=paper)
        write_file(out, content)
        answer({"number": number, "file": str(out)}, [f"{out}: {NEXT[form]}"], as_json=as_json)


def job_sheet(
    number: str,
    out: Annotated[Path, typer.Option(help="The file to write: job.pdf or job.html; one that is there is replaced.")],
    quantity: Annotated[int | None, typer.Option(min=1, help="One of the quantities quoted; without it the one ordered, or the middle one.")] = None,
    revision: Revision = None, paper: OnPaper = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Write the job sheet of a ready quote for the workshop, by the file's ending as a PDF or as a page of HTML. It is no customer's."""
    with reported(as_json=as_json):
        form = _form_of(out)
        with client_for(url, key, folder, role="engineer") as desk:
            content = desk.job_sheet(number, revision, quantity=quantity, form=form, paper=paper)
        write_file(out, content)
        answer({"number": number, "file": str(out)}, [f"{out}: internal, not for the customer"], as_json=as_json)


def _form_of(out: Path) -> Form:
    form = FORMS.get(out.suffix.lower())
    if form is None:
        raise unusable("--out", out.name, "a file that ends in .pdf or .html")
    return form


def send(
    number: str,
    to: Annotated[list[str], typer.Option(help="A recipient's address; may be given more than once.")],
    cc: Annotated[list[str] | None, typer.Option(help="Who gets a copy; may be given more than once.")] = None,
    eml: Annotated[Path | None, typer.Option(help="Write the mail to this file, to be sent by hand, in place of sending it.")] = None,
    message: Annotated[str, typer.Option(help="Stands in the mail in place of the usual sentence.")] = "",
    language: Language = None, paper: OnPaper = None, revision: Revision = None,
    idempotency_key: Annotated[str | None, typer.Option(help="Your own name for this sending: given again, nothing is sent twice.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Send the offer of a ready quote to the customer, or with --eml make the mail as a file."""
    from shared_schemas.offers import OfferRequest  # noqa: PLC0415  # who only quotes does not wait for it

    with reported(as_json=as_json):
        said = {"to": to, "cc": cc or [], "message": message, "language": language, "paper": paper, "revision": revision}
        given = {name: value for name, value in said.items() if value is not None}
        try:
            asked = OfferRequest.model_validate({**given, "send": "mail" if eml is None else "file"})
        except ValidationError as fault:
            first = fault.errors()[0]
            limit = "an address such as name@example.com" if first["loc"][0] in ("to", "cc") else first["msg"]
            raise unusable(f"--{first['loc'][0]}", str(first["input"])[:120], limit) from fault
        with client_for(url, key, folder, role="sales") as desk:
            sent = desk.send_quote(number, asked, idempotency_key)
            if eml is not None:
                write_file(eml, desk.sent_file(sent.id, "mail"))
        done = (
            f"{sent.id}: sent to {', '.join((*sent.to, *sent.cc))}"
            if eml is None
            else f"{eml}: {sent.id}, a mail to be sent by hand"
        )
        answer(sent.model_dump(mode="json"), [done], as_json=as_json)


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    app.command()(sheet)
    app.command()(job_sheet)
    app.command()(send)
