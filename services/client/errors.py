"""What can go wrong between a caller and a server.

ClientError
├── HeaderUnusable         a key, ETag or media type has characters that HTTP has no place for
├── ServerUnreachable      nobody answers at the address
├── ServerRefused          the server answered with a problem document
├── AnswerNotUnderstood    the answer is not what the contracts promise
├── ContactLost            the server went away while a quote, batch or impact was awaited
├── WaitedTooLong          the quote, batch or impact was not finished in the time given
└── JournalUnusable        the journal of keys cannot be read or written
"""

from __future__ import annotations

from shared_schemas.problem import Explained, Problem


class ClientError(Explained):
    """Every error of the client; nothing of the HTTP library gets out."""


class HeaderUnusable(ClientError):
    """The header `name` would have characters that HTTP has no place for; its value, which may be a key, is not told."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(f"What would go into the header {name} has characters other than printable ASCII. Nothing was sent.")


class ServerUnreachable(ClientError):
    """Nobody answers at `url`; `why` is what the network said. `unsent` where the request cannot have arrived."""

    def __init__(self, url: str, why: str, *, unsent: bool = False) -> None:
        self.url = url
        self.why = why
        self.unsent = unsent
        super().__init__(f"No answer from {url}: {why}. Check the address and that the server is running.")


class ServerRefused(ClientError):
    """The server answered with a problem document."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        title = problem.title.rstrip(".")
        super().__init__(problem.detail if problem.detail.startswith(title) else f"{title}. {problem.detail}", *problem.errors)

    @property
    def status(self) -> int:
        """The HTTP status that came with it."""
        return self.problem.status

    @property
    def pointers(self) -> tuple[str, ...]:
        """The places in the request that are to be mended, as JSON pointers."""
        return tuple(error.pointer for error in self.problem.errors)


class AnswerNotUnderstood(ClientError):
    """The answer of `url` is not what the contracts promise."""

    def __init__(self, url: str, status: int, why: str) -> None:
        self.url = url
        self.status = status
        self.why = why
        super().__init__(
            f"{url} answered {status} with something that is not a Blankwright answer: {why}. "
            "Check the address, and that server and client are the same version."
        )


class ContactLost(ClientError):
    """The server stopped answering while `what` of that number was awaited; `why` says how."""

    def __init__(self, number: str, why: str, *, what: str = "quote") -> None:
        self.number = number
        self.what = what
        super().__init__(
            f"{why.rstrip('.')}. {what.capitalize()} {number} was accepted and is not lost: read it when the server is back."
        )


class WaitedTooLong(ClientError):
    """`what` (a quote, a batch or an impact) of that number was still `status` after `waited_s` seconds."""

    def __init__(self, number: str, status: str, waited_s: float, *, what: str = "quote") -> None:
        self.number = number
        self.what = what
        self.status = status
        self.waited_s = waited_s
        super().__init__(
            f"{what.capitalize()} {number} is still {status.replace('_', ' ')} after {waited_s:.0f} s. It is not lost: read it later."
        )


class JournalUnusable(ClientError):
    """The journal at `path` cannot be read or written; nothing was sent."""

    def __init__(self, path: str, why: str) -> None:
        self.path = path
        super().__init__(f"The journal {path} cannot be used: {why}. Nothing was sent. Name a file that can be written.")
