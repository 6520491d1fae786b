"""What stands where a value could not be read, so that the rules can be held against all the others."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final, Never, ParamSpec, TypeVar

P = ParamSpec("P")
Said = TypeVar("Said")


class CannotSay(Exception):  # noqa: N818 - named for what it says
    """A rule asked for a value that could not be read."""


class Unread:
    """A value that is written but could not be read: it is not None, and nothing else can be said of it."""

    def _cannot_say(self, *_: object) -> Never:
        raise CannotSay

    def __getattr__(self, name: str) -> Never:
        # Dunder names are asked for by Python itself, which takes an AttributeError for no.
        raise AttributeError(name) if name.startswith("__") else CannotSay

    __bool__ = __str__ = __float__ = __iter__ = _cannot_say
    __eq__ = __lt__ = __le__ = __gt__ = __ge__ = _cannot_say
    __mul__ = __rmul__ = __truediv__ = __rtruediv__ = __sub__ = __rsub__ = _cannot_say
    __hash__ = _cannot_say


UNREAD: Final[Any] = Unread()


def is_read(value: object) -> bool:
    """Return whether a value could be read, or was left out."""
    return value is not UNREAD


def as_far_as_read(rule: Callable[P, Iterable[Said]], *args: P.args, **kwargs: P.kwargs) -> Iterator[Said]:
    """Yield what a rule says until it asks for a value that could not be read."""
    try:
        yield from rule(*args, **kwargs)
    except CannotSay:
        return
