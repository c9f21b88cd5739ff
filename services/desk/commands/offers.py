"""Commands about offers: the customer's sheet of a quote, as a page or as a PDF."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

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
        form = FORMS.get(out.suffix.lower())
        if form is None:
            raise unusable("--out", out.name, "a file that ends in .pdf or .html")
        with client_for(url, key, folder, role="sales") as desk:
            content = desk.sheet(number, revision, form=form, language=language, paper=paper)
        write_file(out, content)
        answer({"number": number, "file": str(out)}, [f"{out}: {NEXT[form]}"], as_json=as_json)


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    app.command()(sheet)
