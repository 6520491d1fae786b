"""What every table of site.toml, and every row of the other files, has in common."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from copy import deepcopy
from typing import Any, NamedTuple, Self, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError, ValidatorFunctionWrapHandler, field_validator
from pydantic_core import ErrorDetails

from config.unread import UNREAD, as_far_as_read, is_read

Place = tuple[str | int, ...]


class Contradiction(NamedTuple):
    """What cannot be right in a table although each of its keys could be, and what to do."""

    problem: str
    remedy: str


Rule = Callable[[], Iterable[Contradiction]]


class Table(BaseModel):
    """A frozen table of the site's files that knows every key it may hold.

    Its fields say what each key may be. What several keys may be together is said by its rules, which are
    held against a table once it has been read, so that a faulty key hides no other fault.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, hide_input_in_errors=True)

    @field_validator("*", mode="wrap")
    @classmethod
    def _past_what_is_unread(cls, given: Any, read: ValidatorFunctionWrapHandler) -> Any:
        if given is UNREAD:
            return given
        if isinstance(given, list) and not all(map(is_read, given)):
            items = iter(read([item for item in given if is_read(item)]))
            return tuple(next(items) if is_read(item) else item for item in given)
        return read(given)

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """Return the names of its keys as they are written."""
        return tuple(field.alias or name for name, field in cls.model_fields.items())

    @classmethod
    def unread(cls) -> Self:
        """Return a table of which nothing could be read."""
        return cls.model_construct(**dict.fromkeys(cls.model_fields, UNREAD))

    def rules(self) -> tuple[Rule, ...]:
        """Return what its keys are held against together, each rule to be asked by itself."""
        return ()

    def contradictions(self, place: Place = ()) -> Iterator[tuple[Place, Contradiction]]:
        """Yield what this table and those in it contradict themselves in, each with its place."""
        for rule in self.rules():
            for found in as_far_as_read(rule):
                yield place, found
        for name, field in type(self).model_fields.items():
            value, key = getattr(self, name), field.alias or name
            if isinstance(value, Table):
                yield from value.contradictions((*place, key))
            elif isinstance(value, tuple):
                for position, item in enumerate(value):
                    if isinstance(item, Table):
                        yield from item.contradictions((*place, key, position))


Kind = TypeVar("Kind", bound=Table)


def read_table(
    kind: type[Kind], given: Mapping[str, Any], context: Mapping[str, bool]
) -> tuple[Kind, list[ErrorDetails]]:
    """Return a table with UNREAD for every key that could not be read, and why each could not."""
    try:
        return kind.model_validate(given, context=context), []
    except ValidationError as error:
        found = error.errors(include_url=False)
    sound = deepcopy({name: value for name, value in given.items() if is_read(value)})
    sound |= {name: value for name, value in given.items() if not is_read(value)}
    for details in found:
        _set_unread(sound, details["loc"], is_known=details["type"] != "extra_forbidden")
    return kind.model_validate(sound, context=context), found


def _set_unread(content: Any, place: Place, *, is_known: bool) -> None:
    for part in place[:-1]:
        content = content[part]
    if is_known:
        content[place[-1]] = UNREAD
    else:
        del content[place[-1]]
