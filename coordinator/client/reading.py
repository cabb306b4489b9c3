"""JSON to the values that it tells of, by the fields of their dataclasses.

A coordinator may be newer or older than its client: members that are not known are passed over, one
that lacks is None where that is allowed, as what is not known is null. A word that is not known yet
stays the word that it is. Anything else that does not fit is told with its place.
"""

import dataclasses
from collections.abc import Callable, Mapping
from enum import StrEnum
from functools import cache
from types import NoneType, UnionType
from typing import Any, Final, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")
_JSON_NAMES: Final = {
    NoneType: "null", bool: "true or false", int: "a whole number", float: "a number",
    str: "a text", list: "a list", dict: "an object",
}  # fmt: skip


class Unlike(ValueError):
    """A value is not what is needed; `member` is its place, the text says what is wrong with it."""

    def __init__(self, member: str, why: str) -> None:
        super().__init__(why)
        self.member = member


def read(kind: type[T], value: object, member: str = "") -> T:
    """The value of this kind that JSON tells of. Raises Unlike. `member` is where it stands."""
    made: T = _read(kind, value, member)
    return made


def _read(kind: Any, value: object, at: str) -> Any:
    origin = get_origin(kind)
    if origin in _COMPOUND:
        return _COMPOUND[origin](get_args(kind), value, at)
    if dataclasses.is_dataclass(kind):
        return _record(kind, value, at)
    if issubclass(kind, StrEnum):
        return _word(kind, _of(str, value, at))
    if kind is float and type(value) is int:
        return float(value)
    return _of(kind, value, at)


def _of(kind: type, value: object, at: str) -> Any:
    """A value that is of this very type: true is no number."""
    if type(value) is not kind:
        raise Unlike(at, f"is {_JSON_NAMES[type(value)]}, but must be {_JSON_NAMES[kind]}")
    return value


def _record(kind: Any, value: object, at: str) -> Any:
    members = _of(dict, value, at)
    made = {}
    for name, hint in _fields(kind):
        if name not in members and NoneType not in get_args(hint):
            raise Unlike(_below(at, name), "is missing")
        made[name] = _read(hint, members.get(name), _below(at, name))
    return kind(**made)


@cache
def _fields(kind: Any) -> list[tuple[str, Any]]:
    """Name and type of each field. Its default says nothing of what a coordinator left out."""
    hints = get_type_hints(kind)
    return [(field.name, hints[field.name]) for field in dataclasses.fields(kind)]


def _word(kind: type[StrEnum], value: str) -> StrEnum:
    """One of these words, or one that a newer coordinator has."""
    try:
        return kind(value)
    except ValueError:
        new = str.__new__(kind, value)
        new._name_, new._value_ = value, value
        return new


def _union(kinds: tuple[Any, ...], value: object, at: str) -> Any:
    """The first kind that fits; None only where null is told."""
    if value is None and NoneType in kinds:
        return None
    unlike: Unlike | None = None
    for kind in kinds:
        if kind is not NoneType:
            try:
                return _read(kind, value, at)
            except Unlike as error:
                unlike = error
    assert unlike is not None, "a union has kinds"
    raise unlike


def _tuple(kinds: tuple[Any, ...], value: object, at: str) -> tuple[Any, ...]:
    members = _of(list, value, at)
    if kinds[-1] is Ellipsis:
        kinds = kinds[:1] * len(members)
    elif len(members) != len(kinds):
        raise Unlike(at, f"has {len(members)} members, but must have {len(kinds)}")
    return tuple(
        _read(kind, one, _below(at, place))
        for place, (kind, one) in enumerate(zip(kinds, members, strict=True))
    )


def _dict(kinds: tuple[Any, ...], value: object, at: str) -> dict[str, object]:
    members = _of(dict, value, at)
    return {name: _read(kinds[1], one, _below(at, name)) for name, one in members.items()}


def _literal(words: tuple[Any, ...], value: object, at: str) -> Any:
    if value not in words:
        raise Unlike(at, f"is {value!r}, but must be one of {', '.join(map(repr, words))}")
    return value


def _below(at: str, name: object) -> str:
    return f"{at}.{name}" if at else str(name)


_COMPOUND: Final[dict[Any, Callable[[tuple[Any, ...], object, str], Any]]] = {
    Union: _union,
    UnionType: _union,
    tuple: _tuple,
    dict: _dict,
    Mapping: _dict,
    Literal: _literal,
}
