"""The command that says why a figure of a quote is what it is."""

from __future__ import annotations

import json
import shutil
import sys
from typing import Annotated

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported

PLAIN_WIDTH = 100
"""Where nobody sits at a terminal."""

Words = Annotated[
    list[str] | None,
    typer.Argument(
        help="A JSON pointer such as /breaks/1/unit_price, or plain words: price 25, date 100, L2 back polish, L1 centre yield. "
        "Without it, the price of the middle quantity.",
        show_default=False,
    ),
]


def explain(
    number: str, of: Words = None,
    depth: Annotated[int, typer.Option(min=0, max=40, help="How many levels of reasons are told.")] = 12,
    revision: Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Say why a figure of a quote is what it is: its equation, what went in, the rate rows with source and day."""
    with reported(as_json=as_json):
        from services.desk.figure_named import place_named, pointer_named  # noqa: PLC0415
        from services.desk.texts.explain import explained_lines  # noqa: PLC0415

        words = " ".join(of or ["price"])
        with client_for(url, key, folder, role="engineer") as desk:
            quote = desk.quote(number, revision)
            pointer = pointer_named(words, quote)
            figure = desk.figure(number, pointer, revision)
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else PLAIN_WIDTH
        answer(
            json.loads(figure.model_dump_json()),
            explained_lines(figure, of=place_named(pointer, quote), depth=depth, width=width),
            as_json=as_json,
        )


def add_to(app: typer.Typer) -> None:
    """Make this command one of the command line."""
    app.command()(explain)
