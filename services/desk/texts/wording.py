"""How the desk words a command as its caller would write it, and what is wrong, line by line."""

from __future__ import annotations

import re
import shlex
import shutil
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from shared_schemas.problem import ProblemDetail

HINT = re.compile(
    r"(?<![/\w])blankwright (?P<command>up|down|status|show|quote|intake|requote|worksheet|approve|quotes|batch|impact|dead-letters|check|accept|decline|"
    r"keys|rates|orders)\b"
)
ROUTES = (
    (re.compile(r"POST /v1/quotes/([\w-]+)/requote"), r"blankwright requote \1"),
    (re.compile(r"POST /v1/quotes/([\w-]+)/approvals"), r"blankwright approve \1"),
    (re.compile(r"PATCH /v1/quotes/([\w-]+)/worksheet"), r"blankwright worksheet \1"),
)
"""Routes that a problem names as what would do, and the commands that ask them."""
WITHOUT_FOLDER = ("keys",)


def as_called(text: str, arguments: Sequence[str] | None = None) -> str:
    """`text` with each `blankwright …` in it as the one who called the program with these arguments would write it."""
    called = sys.argv if arguments is None else arguments
    program, folder = _program(called[0] if called else ""), _folder(called[1:])

    def written(hint: re.Match[str]) -> str:
        command = hint["command"]
        return f"{program} {command}" + ("" if command in WITHOUT_FOLDER else folder)

    for route, command in ROUTES:
        text = route.sub(command, text)
    return HINT.sub(written, text)


def _program(called: str) -> str:
    """The way to the program, or its bare name where the PATH leads to it."""
    if Path(called).name != "blankwright":
        return "blankwright"
    known = shutil.which("blankwright")
    return "blankwright" if known and Path(known).absolute() == Path(called).absolute() else shlex.quote(called)


def _folder(arguments: Sequence[str]) -> str:
    for i, one in enumerate(arguments):
        if one == "--folder" and i + 1 < len(arguments):
            return f" --folder {shlex.quote(arguments[i + 1])}"
        if one.startswith("--folder="):
            return f" --folder {shlex.quote(one.removeprefix('--folder='))}"
    return ""


def problem_lines(details: Iterable[ProblemDetail]) -> list[str]:
    """Each thing wrong, in one line: where, what, the figure, the limit, what would do."""
    return [_line(detail) for detail in details]


def _line(detail: ProblemDetail) -> str:
    what = detail.reason.rstrip(".")
    wish = (detail.remedy or "").rstrip(".")
    limit = f" ({_shown(detail.figure)}; limit {_shown(detail.limit)})" if detail.limit is not None else ""
    remedy = f". What would do: {wish}" if wish and wish not in what else ""
    # The reason of a cell of a table says row and column itself.
    where = "" if detail.pointer.startswith("/row ") else f"{detail.pointer or 'the document'}: "
    end = "" if (what + limit + remedy).endswith("?") else "."
    return f"{where}{what}{limit}{remedy}{end}"


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
