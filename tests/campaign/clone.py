"""An exact copy of a whole world, so that it can go on in two ways.

`copy.deepcopy` takes functions for constants, but the coordinator keeps answers that wait as
closures over its own state; here what a closure holds is copied with it. Values that nobody changes
(frozen dataclasses, messages, enumerations) are shared, which makes it ten times as fast.
"""

from collections import Counter, OrderedDict, deque
from collections.abc import Callable, Generator
from dataclasses import is_dataclass
from enum import Enum
from functools import partial
from itertools import count
from random import Random
from types import BuiltinMethodType, CellType, FunctionType, MethodType, ModuleType
from typing import Any, TypeVar

from pydantic import BaseModel

from protocol.pathtime import Course
from protocol.ramp import Ramp

_T = TypeVar("_T")
_Memo = dict[int, tuple[Any, Any]]
"""By identity of the original: the copy, and the original, so that no identity is used again."""


def clone(thing: _T) -> _T:
    """The copy. Raises TypeError for what it does not know how to copy."""
    copied: _T = _copy(thing, {})
    return copied


def share(kind: type[_T]) -> type[_T]:
    """Decorate or name a class whose objects all copies have in common."""
    _HOW[kind] = _shared
    return kind


def _copy(thing: Any, memo: _Memo) -> Any:
    how = _HOW.get(type(thing))
    if how is None:
        how = _HOW[type(thing)] = _how(type(thing))
    if how is _shared:
        return thing
    known = memo.get(id(thing))
    if known is not None:
        return known[0]
    return how(thing, memo)


def _shared(thing: Any, memo: _Memo) -> Any:
    return thing


def _list(thing: list[Any], memo: _Memo) -> Any:
    made: list[Any] = []
    memo[id(thing)] = made, thing
    made.extend([_copy(one, memo) for one in thing])
    return made


def _tuple(thing: tuple[Any, ...], memo: _Memo) -> Any:
    made = tuple([_copy(one, memo) for one in thing])
    if all(one is other for one, other in zip(made, thing, strict=True)):
        made = thing
    # A tuple within itself was copied on the way.
    return memo.setdefault(id(thing), (made, thing))[0]


def _named_tuple(thing: Any, memo: _Memo) -> Any:
    made = type(thing)._make([_copy(one, memo) for one in thing])
    return memo.setdefault(id(thing), (made, thing))[0]


def _deque(thing: deque[Any], memo: _Memo) -> Any:
    made: deque[Any] = deque(maxlen=thing.maxlen)
    memo[id(thing)] = made, thing
    made.extend([_copy(one, memo) for one in thing])
    return made


def _set(thing: set[Any], memo: _Memo) -> Any:
    made: set[Any] = set()
    memo[id(thing)] = made, thing
    made.update([_copy(one, memo) for one in thing])
    return made


def _dict(thing: dict[Any, Any], memo: _Memo) -> Any:
    made = type(thing)()
    memo[id(thing)] = made, thing
    for key, value in thing.items():
        made[_copy(key, memo)] = _copy(value, memo)
    return made


def _random(thing: Random, memo: _Memo) -> Any:
    made = Random()
    made.setstate(thing.getstate())
    memo[id(thing)] = made, thing
    return made


def _count(thing: "count[int]", memo: _Memo) -> Any:
    # It can be pickled, but newer Pythons warn of that; what it says of itself is as good.
    made = count(int(repr(thing).removeprefix("count(").removesuffix(")")))
    memo[id(thing)] = made, thing
    return made


def _method(thing: MethodType, memo: _Memo) -> Any:
    return MethodType(thing.__func__, _copy(thing.__self__, memo))


def _bound(thing: BuiltinMethodType, memo: _Memo) -> Any:
    # A method of a class in C, as compiled ones are; a function's `self` is its module.
    if thing.__self__ is None or isinstance(thing.__self__, ModuleType):
        return thing
    return getattr(_copy(thing.__self__, memo), thing.__name__)


def _partial(thing: "partial[Any]", memo: _Memo) -> Any:
    made = partial(
        _copy(thing.func, memo),
        *[_copy(one, memo) for one in thing.args],
        **{name: _copy(one, memo) for name, one in thing.keywords.items()},
    )
    return memo.setdefault(id(thing), (made, thing))[0]


def _cell(thing: CellType, memo: _Memo) -> Any:
    made = CellType()
    memo[id(thing)] = made, thing
    made.cell_contents = _copy(thing.cell_contents, memo)
    return made


def _function(thing: FunctionType, memo: _Memo) -> Any:
    if not thing.__closure__:
        return thing
    cells = tuple(_copy(cell, memo) for cell in thing.__closure__)
    made = FunctionType(
        thing.__code__, thing.__globals__, thing.__name__, thing.__defaults__, cells
    )
    made.__kwdefaults__ = thing.__kwdefaults__
    memo[id(thing)] = made, thing
    return made


def _by_itself(thing: Any, memo: _Memo) -> Any:
    # What holds memory of its own knows how.
    return memo.setdefault(id(thing), (thing.__deepcopy__({}), thing))[0]


_HEAP_TYPE = 1 << 9
"""Py_TPFLAGS_HEAPTYPE: set for classes written in Python, whose state is all in attributes."""

_HOW: dict[type, Callable[[Any, _Memo], Any]] = {
    **dict.fromkeys((int, float, str, bytes, bool, type(None), type), _shared),
    BuiltinMethodType: _bound,
    partial: _partial,
    # Never changed once they are made.
    Course: _shared,
    Ramp: _shared,
    list: _list,
    tuple: _tuple,
    deque: _deque,
    set: _set,
    **dict.fromkeys((dict, OrderedDict, Counter), _dict),
    Random: _random,
    count: _count,
    MethodType: _method,
    CellType: _cell,
    FunctionType: _function,
}


def _how(kind: type) -> Callable[[Any, _Memo], Any]:
    if issubclass(kind, tuple) and hasattr(kind, "_make"):
        return _named_tuple
    # Generators are the feed's moves: all are made when it begins, for programs so short.
    if issubclass(kind, Enum | BaseModel | frozenset | type | Generator):
        return _shared
    if is_dataclass(kind) and kind.__dataclass_params__.frozen:  # type: ignore[attr-defined]
        return _shared
    if hasattr(kind, "__deepcopy__"):
        return _by_itself
    if not kind.__flags__ & _HEAP_TYPE:
        raise TypeError(f"a {kind.__module__}.{kind.__name__} cannot be copied")
    slots = [name for one in kind.__mro__ for name in getattr(one, "__slots__", ())]
    slots += [name for name in getattr(kind, "__mypyc_attrs__", ()) if name != "__dict__"]
    has_dict = kind.__dictoffset__ != 0

    def made(thing: Any, memo: _Memo) -> Any:
        copied = kind.__new__(kind)
        memo[id(thing)] = copied, thing
        if has_dict:
            fields = copied.__dict__
            for name, value in thing.__dict__.items():
                fields[name] = _copy(value, memo)
        for name in slots:
            if hasattr(thing, name):
                object.__setattr__(copied, name, _copy(getattr(thing, name), memo))
        return copied

    return made
