"""Pages of PDF: typst templates that lie beside the code which fills them. Whatever is filled in is text, never markup.

A template reads what it is to set from `json("data.json")`, so that a name such as `#import "x"` prints as it stands. What comes out is PDF/A-2a and
PDF/UA-1: tagged, selectable, with its fonts inside (those of the compiler, so that every machine sets the same page), and the same bytes for the
same data and day. The template sets title and language, and gives each picture its words (`alt`); the compiler refuses it otherwise.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from functools import cache
from importlib.resources import files as files_of
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import typst

from services.chassis.pages import printable

DATA = "data.json"
STANDARDS: list[typst.PDFStandard] = ["a-2a", "ua-1"]
NO_SIGN = "□"
"""Stands for a sign that none of the fonts has, such as those of Chinese; without it the page would not be PDF/A."""
_MISSING = re.compile(r'the text `"((?:[^"\\]|\\.)+)"` could not be displayed')
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")


def typeset(package: str, template: str, data: Mapping[str, Any], *, on: date, files: Mapping[str, bytes] | None = None) -> bytes:
    """A PDF of a template of a package, such as `typeset(__package__, "offer.typ", {…}, on=body.quoted_on)`.

    `data` is what JSON takes. `on` is the day that the file bears. `files` are pictures by the name under which the template reads them. The compiler
    sees the templates of the package, the data and these files, and nothing else of the machine. Raises `typst.TypstError` for a template that cannot be.
    """
    with TemporaryDirectory(prefix="typesetting-") as folder:
        root = Path(folder)
        for beside in files_of(package).iterdir():
            if beside.name.endswith(".typ"):
                (root / beside.name).write_bytes(beside.read_bytes())
        for name, content in (files or {}).items():
            (root / Path(name).name).write_bytes(content)
        return _compiled(root, template, _cleaned(data), datetime.combine(on, time(), UTC))


def _compiled(root: Path, template: str, data: Any, at: datetime) -> bytes:
    """The PDF; signs that no font has are replaced once the compiler has named them."""
    try:
        return _compiled_once(root, template, data, at)
    except typst.TypstError as fault:
        unknown = set("".join(_ESCAPED.sub(_sign, text) for text in _MISSING.findall(fault.diagnostic)))
        if not unknown:
            raise
    return _compiled_once(root, template, _cleaned(data, without=unknown), at)


def _compiled_once(root: Path, template: str, data: Any, at: datetime) -> bytes:
    (root / DATA).write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
    return typst.compile(
        root / template,
        root=root,
        font_paths=_fonts(),
        ignore_system_fonts=True,
        package_path=root,
        package_cache_path=root,
        format="pdf",
        pdf_standards=STANDARDS,
        timestamp=at,
    )


@cache
def _fonts() -> typst.Fonts:
    """The fonts that come with the compiler: Libertinus Serif, New Computer Modern, DejaVu Sans Mono."""
    return typst.Fonts(include_system_fonts=False)


def _sign(escaped: re.Match[str]) -> str:
    return chr(int(escaped[1], 16))


def _cleaned(data: Any, *, without: set[str] | None = None) -> Any:
    """Data without control characters in its texts, as `printable` leaves them; each sign of `without` replaced."""
    if isinstance(data, str):
        text: str = printable(data)
        return "".join(NO_SIGN if sign in without else sign for sign in text) if without else text
    if isinstance(data, Mapping):
        return {name: _cleaned(value, without=without) for name, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [_cleaned(value, without=without) for value in data]
    return data
