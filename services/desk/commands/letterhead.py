"""Commands about the seller's letterhead: `blankwright letterhead ...`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from services.client.errors import ServerRefused
from services.desk.errors import FileUnreadable
from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.letterhead import KeptLetterhead

NOT_FOUND = 404


def show(url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False) -> None:
    """Print what the seller's paper says on every offer."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            kept, _ = desk.letterhead()
        answer(kept.model_dump(mode="json"), _lines(kept), as_json=as_json)


def set_(
    file: Annotated[Path, typer.Argument(help="The letterhead as JSON: name, address, email, phone, tax_id, payment, delivery, tax_note, legal.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Put the letterhead that a file has in place of the one in force; the logo stays."""
    with reported(as_json=as_json):
        asked = _read(file)
        with client_for(url, key, folder, role="admin") as desk:
            kept = put_letterhead(desk, asked)
        answer(kept.model_dump(mode="json"), _lines(kept), as_json=as_json)


def logo(
    file: Annotated[Path, typer.Argument(help="A PNG or JPEG of at most 512 KiB.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Put a picture on the letterhead."""
    with reported(as_json=as_json):
        try:
            content = file.read_bytes()
        except OSError as fault:
            raise FileUnreadable(str(file), fault.strerror or type(fault).__name__) from fault
        with client_for(url, key, folder, role="admin") as desk:
            _, tag = desk.letterhead()
            kind = "image/jpeg" if file.suffix.lower() in (".jpg", ".jpeg") else "image/png"
            kept, _ = desk.put_logo(content, kind, tag)
        answer(kept.model_dump(mode="json"), _lines(kept), as_json=as_json)


def put_letterhead(desk: Client, asked: dict[str, Any]) -> KeptLetterhead:
    """Put a letterhead in place of the one in force, if there is one."""
    return desk.put_letterhead(asked, _tag_of(desk))[0]


def put_first_letterhead(desk: Client, file: Path) -> None:
    """Put the letterhead of a file where there is none."""
    if _tag_of(desk) is None:
        desk.put_letterhead(_read(file), None)


def _tag_of(desk: Client) -> str | None:
    """The ETag of the letterhead in force, if there is one."""
    try:
        return desk.letterhead()[1]
    except ServerRefused as refusal:
        if refusal.status != NOT_FOUND:
            raise
        return None


def _read(file: Path) -> dict[str, Any]:
    try:
        document = json.loads(file.read_text(encoding="utf-8"))
    except OSError as fault:
        raise FileUnreadable(str(file), fault.strerror or type(fault).__name__) from fault
    except ValueError as fault:
        raise FileUnreadable(str(file), f"it is not JSON in UTF-8: {fault}") from fault
    if not isinstance(document, dict):
        raise FileUnreadable(str(file), "it is JSON, but no letterhead, which is an object with a name")
    return document


def _lines(kept: KeptLetterhead) -> list[str]:
    paper = kept.letterhead
    logo = f"{kept.logo.width_px} x {kept.logo.height_px} pixels, {kept.logo.media_type}" if kept.logo else "none"
    known = (
        ("name", paper.name),
        ("address", ", ".join(paper.address)),
        ("reached at", ", ".join(part for part in (paper.email, paper.phone, paper.web) if part)),
        ("tax id", paper.tax_id),
        *((f"{name} ({code})", text) for name, texts in (("payment", paper.payment), ("delivery", paper.delivery), ("tax", paper.tax_note))
          for code, text in texts.items()),
        ("foot", "; ".join(paper.legal)),
        ("logo", logo),
        ("version", f"{kept.version}, of {kept.changed_at:%Y-%m-%d}"),
    )  # fmt: skip
    return [f"{name:<14} {value}" for name, value in known if value]


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    letterhead = typer.Typer(help="What the seller's paper says on every offer.", no_args_is_help=True, rich_markup_mode=None)
    for name, command in (("show", show), ("set", set_), ("logo", logo)):
        letterhead.command(name=name)(command)
    app.add_typer(letterhead, name="letterhead")
