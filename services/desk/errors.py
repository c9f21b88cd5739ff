"""What can go wrong at the desk itself; what goes wrong between it and a server is the client's to say (`services/client/errors.py`).

DeskError
├── NoServerNamed          no address was given and no one box runs
├── BoxTrouble             the one box would not start or stop
├── SettingMissing         a setting that the command needs is not there
├── QuoteHasNoBlanks       a quote whose glass cannot be bought: not ready, or without the quantity
├── NoSuchKey              there is no good key of that id
├── KeyRefused             the key cannot be made, exchanged or revoked as asked
├── FileUnwritable         the file cannot be written
├── OptionUnusable         an option of the command line has a value that cannot be
├── FigureNotNamed         words that name no figure of a quote, or several
├── DraftIsAnother         what is confirmed is not the draft as it is now
├── DraftIncomplete        a draft is confirmed in which questions are open
├── AnswersUnusable        answers to no question, or that say nothing usable
├── PartAway               a service that the desk asks does not answer
├── ReadingBroke           what was sent broke the reader
└── FileUnreadable         the file cannot be read as what it should be
    ├── RequestUnreadable  JSON that is no prescription and no quote request
    └── TableUnreadable    a table of surfaces with cells that say nothing
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from shared_schemas.problem import Explained, ProblemDetail


class DeskError(Explained):
    """Every error of the desk."""


class NoServerNamed(DeskError):
    """No address was given and no one-box server runs in `folder`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        super().__init__(
            f"No server is named, and no one-box server runs in {folder}. Start one with: blankwright up; "
            "or name a server with --url and --key (or BLANKWRIGHT_URL and BLANKWRIGHT_KEY)."
        )


class BoxTrouble(DeskError):
    """The one box would not start or stop; the sentence is the box's own."""


class DatabaseTrouble(DeskError):
    """The database does not answer, or will not do what was asked; `why` is its first line."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(f"The database failed: {why}. Check BLANKWRIGHT_DATABASE_URL and that it runs.")


class SettingMissing(DeskError):
    """The setting `name` is needed for what was asked."""

    def __init__(self, name: str, meaning: str) -> None:
        self.name = name
        super().__init__(f"The setting {name} is missing: {meaning}. Set it in the environment and try again.")


class QuoteHasNoBlanks(DeskError):
    """The glass of quote `number` cannot be bought; `why` says so in a few words."""

    def __init__(self, number: str, why: str) -> None:
        self.number = number
        super().__init__(f"The glass of quote {number} cannot be bought: {why}. See it with: blankwright show {number}")


class KeyRefused(DeskError):
    """A key cannot be made, exchanged or revoked as it was asked."""


class NoSuchKey(DeskError):
    """There is no good key with the id `key_id`."""

    def __init__(self, key_id: str) -> None:
        self.key_id = key_id
        super().__init__(f"No valid key has the id {key_id}. See: blankwright keys list")


class FileUnwritable(DeskError):
    """`name` cannot be written."""

    def __init__(self, name: str, why: str) -> None:
        self.name = name
        super().__init__(f"{name} cannot be written: {why}.")


class OptionUnusable(DeskError):
    """Options of the command line have values that cannot be; each of `errors` names one."""

    def __init__(self, *errors: ProblemDetail) -> None:
        super().__init__("The command line needs correcting.", *errors)


class FileUnreadable(DeskError):
    """`name` cannot be read."""

    def __init__(self, name: str, why: str, *errors: ProblemDetail) -> None:
        self.name = name
        super().__init__(f"{name} cannot be read: {why}.", *errors)


class RequestUnreadable(FileUnreadable):
    """`name` is JSON, but no prescription and no quote request; each of `errors` names a place."""


class TableUnreadable(FileUnreadable):
    """`name` is a table of surfaces with cells that say nothing usable; each of `errors` names row and column."""


class DraftIsAnother(DeskError):
    """The digest that is `confirmed` is of another draft than what was sent makes now, whose digest is `now`; each of `errors` says what differs."""

    def __init__(self, confirmed: str, now: str, *errors: ProblemDetail) -> None:
        self.confirmed = confirmed
        self.now = now
        what = "; ".join(error.reason for error in errors)
        super().__init__(f"What is confirmed is not the draft as it is now: {what}. Its digest is now {now}.", *errors)


class DraftIncomplete(DeskError):
    """A draft is confirmed in which questions are open; each of `errors` is one."""

    def __init__(self, *errors: ProblemDetail) -> None:
        some = "One question is" if len(errors) == 1 else f"{len(errors)} questions are"
        super().__init__(f"{some} open; a draft is confirmed when all are answered.", *errors)


class AnswersUnusable(DeskError):
    """Answers to no question, or that say nothing usable; each of `errors` is one."""

    def __init__(self, *errors: ProblemDetail) -> None:
        super().__init__("There are answers that will not do.", *errors)


class FigureNotNamed(DeskError):
    """Words that name no figure of a quote, or several; `near` are names that do."""

    def __init__(self, words: str, near: Sequence[str]) -> None:
        self.near = tuple(near)
        would_do = "one of: " + "; ".join(self.near) if self.near else "a JSON pointer, such as /breaks/0/unit_price"
        super().__init__(f"No one figure of the quote is called {words[:100]!r}; name {would_do}.")


class PartAway(DeskError):
    """A service that the desk asks does not answer just now; `part` is its name."""

    retry_after_s = 2

    def __init__(self, part: str) -> None:
        self.part = part
        super().__init__(f"The {part} service does not answer just now; try again in a moment.")


class ReadingBroke(DeskError):
    """What was sent broke the reader, which is a fault of ours; nothing of it is told or logged."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(
            "What was sent could not be read, by a fault of ours; the log says where. Send it as a plain table for now."
        )
