"""How a function that makes a call becomes a method of both clients, with the types and names of its arguments."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator, Sequence
from functools import update_wrapper
from typing import Any, Concatenate, Generic, ParamSpec, Protocol, Self, TypeVar, overload

from services.client.call import Asking, Call, Pages
from services.client.following import Stream

P = ParamSpec("P")
T = TypeVar("T")
Item_co = TypeVar("Item_co", covariant=True)


class Page(Protocol[Item_co]):
    """A page of a list; `next` is the cursor of the page after it."""

    @property
    def items(self) -> Sequence[Item_co]: ...
    @property
    def next(self) -> str | None: ...


class Blocking(ABC):
    """A client whose methods return the answer."""

    @abstractmethod
    def send(self, asking: Asking[T]) -> T:
        """The answer of a call or a wait."""

    @abstractmethod
    def follow(self, stream: Stream[T]) -> Iterator[T]:
        """What a stream brings, as it comes."""

    @abstractmethod
    def each(self, pages: Pages[T]) -> Iterator[T]:
        """Every item of a list, page by page."""


class Asynchronous(ABC):
    """A client whose methods are awaited."""

    @abstractmethod
    async def send(self, asking: Asking[T]) -> T:
        """The answer of a call or a wait."""

    @abstractmethod
    def follow(self, stream: Stream[T]) -> AsyncIterator[T]:
        """What a stream brings, as it comes."""

    @abstractmethod
    def each(self, pages: Pages[T]) -> AsyncIterator[T]:
        """Every item of a list, page by page."""


class operation(Generic[P, T]):  # stands where a method stands, as `property` does
    """A method of a client that sends what `makes` makes of its arguments."""

    def __init__(self, makes: Callable[P, Asking[T]]) -> None:
        self._makes = makes
        self.__doc__ = makes.__doc__
        self.__wrapped__ = makes

    @overload
    def __get__(self, client: None, owner: type) -> Self: ...
    @overload
    def __get__(self, client: Blocking, owner: type) -> Callable[P, T]: ...
    @overload
    def __get__(self, client: Asynchronous, owner: type) -> Callable[P, Coroutine[Any, Any, T]]: ...
    def __get__(self, client: Blocking | Asynchronous | None, owner: type) -> Any:
        if client is None:
            return self
        send, makes = client.send, self._makes
        return update_wrapper(lambda *given, **named: send(makes(*given, **named)), makes)


class streaming(Generic[P, T]):
    """A method of a client that follows what `makes` makes of its arguments."""

    def __init__(self, makes: Callable[P, Stream[T]]) -> None:
        self._makes = makes
        self.__doc__ = makes.__doc__
        self.__wrapped__ = makes

    @overload
    def __get__(self, client: None, owner: type) -> Self: ...
    @overload
    def __get__(self, client: Blocking, owner: type) -> Callable[P, Iterator[T]]: ...
    @overload
    def __get__(self, client: Asynchronous, owner: type) -> Callable[P, AsyncIterator[T]]: ...
    def __get__(self, client: Blocking | Asynchronous | None, owner: type) -> Any:
        if client is None:
            return self
        follow, makes = client.follow, self._makes
        return update_wrapper(lambda *given, **named: follow(makes(*given, **named)), makes)


class every(Generic[P, T]):
    """A method of a client that goes through all that `makes` asks for page by page; the cursor is its first argument, and not the caller's."""

    def __init__(self, makes: Callable[Concatenate[str | None, P], Call[Page[T]]]) -> None:
        self._makes = makes
        self.__doc__ = f"Every one of them: {makes.__doc__}"

    @overload
    def __get__(self, client: None, owner: type) -> Self: ...
    @overload
    def __get__(self, client: Blocking, owner: type) -> Callable[P, Iterator[T]]: ...
    @overload
    def __get__(self, client: Asynchronous, owner: type) -> Callable[P, AsyncIterator[T]]: ...
    def __get__(self, client: Blocking | Asynchronous | None, owner: type) -> Any:
        if client is None:
            return self
        each, makes = client.each, self._makes
        return lambda *given, **named: each(Pages(lambda cursor: makes(cursor, *given, **named)))
