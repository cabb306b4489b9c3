"""What mypyc is given in place of a module: the same, but for what it could only do slowly or not.

The source stays as it is and is the only one; this is applied to a copy, which nobody edits.

- A dataclass gets its constructor written out. The one that `dataclasses` makes when a module is
  loaded is not compiled; of a value made at every exchange it is most of the cost.
- What all objects of a dataclass share becomes a property: mypyc takes it for a field.
- Pickle is told of the dataclasses, at a module's end.
- A value made of numbers and texts alone is not looked through for cycles by the garbage collector.
- A class with state may be built upon by code that is not compiled, and objects of it may be made
  without its constructor, so that a world can be copied.
- An exception is made as in Python: compiled classes cannot have most of the built-in ones as base.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

_MADE_OTHERWISE: Final = frozenset(
    {"Enum", "IntEnum", "IntFlag", "StrEnum", "NamedTuple", "Protocol", "TypedDict"}
)
PLAIN: Final = frozenset(
    {
        *("int", "float", "bool", "str", "bytes"),
        *("Mode", "StopLevel", "JointState", "Reason", "Fault", "Level", "Direction"),
        *("RateChange", "Plan", "ClockMap", "Drive", "Status", "Exchange", "Line"),
    }
)
"""Numbers, texts, enumerations, and values made of these alone."""
_TELL_PICKLE: Final = (
    "from coordinator.compiled import pickled_by_constructor as _pickled_by_constructor"
)
_IMPORT: Final = "from mypy_extensions import mypyc_attr"


@dataclass(frozen=True, slots=True)
class _Edit:
    """Lines to be added after `after`, counted from 1, in place of blank ones up to `until`."""

    after: int
    until: int
    lines: tuple[str, ...]
    replaces: bool = False
    """Whether they take the place of lines that are not blank, too."""


def rewrite(text: str) -> str:
    """A module's text for mypyc. Raises ValueError for a dataclass that it does not understand.

    What is added takes the place of blank lines, so that tracebacks name the lines of the source.
    """
    tree = ast.parse(text)
    lines = text.splitlines()
    classes = [node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
    found = [one for node in classes for one in _edits(node, text)]
    if found:
        head_end = _head_end(tree)
        found.append(_Edit(head_end, head_end + 1, (_IMPORT,)))
    for one in sorted(found, key=lambda one: one.after, reverse=True):
        kept = [line for line in lines[one.after : one.until] if line and not one.replaces]
        lines[one.after : one.until] = [*kept, *one.lines]
    kinds = [
        one.name
        for one in tree.body
        if isinstance(one, ast.ClassDef) and any(map(_is_dataclass, one.decorator_list))
    ]
    if kinds:
        lines += [_TELL_PICKLE, f"_pickled_by_constructor({', '.join(kinds)})"]
    return "\n".join(lines) + "\n"


def _head_end(tree: ast.Module) -> int:
    """The last line of the module's docstring."""
    first = tree.body[0]
    is_text = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    return (first.end_lineno or 0) if is_text else 0


def _edits(node: ast.ClassDef, text: str) -> Iterator[_Edit]:
    bases = {ast.unparse(base).partition("[")[0] for base in node.bases}
    if bases & _MADE_OTHERWISE:
        return
    first = min([node.lineno, *(one.lineno for one in node.decorator_list)])
    pad = " " * node.col_offset
    if any(base.endswith(("Error", "Exception")) for base in bases):
        yield _Edit(first - 2, first - 1, (f"{pad}@mypyc_attr(native_class=False)",))
        return
    decorator = next(filter(_is_dataclass, node.decorator_list), None)
    frozen = decorator is not None and _says(decorator, "frozen")
    if decorator is not None:
        end = node.end_lineno or 0
        if not _has(node, "__init__"):
            yield _Edit(end, end + 1, (f"{pad}    {_constructor(node, text, frozen=frozen)}",))
        yield from _constants(node)
    if not frozen:
        yield _Edit(first - 2, first - 1, (f"{pad}@mypyc_attr(allow_interpreted_subclasses=True)",))
    elif _is_plain(node):
        yield _Edit(first - 2, first - 1, (f"{pad}@mypyc_attr(acyclic=True)",))


def _is_dataclass(decorator: ast.expr) -> bool:
    named = decorator.func if isinstance(decorator, ast.Call) else decorator
    return isinstance(named, ast.Name) and named.id == "dataclass"


def _says(decorator: ast.expr, name: str) -> bool:
    return isinstance(decorator, ast.Call) and any(
        one.arg == name and ast.literal_eval(one.value) for one in decorator.keywords
    )


def _is_plain(node: ast.ClassDef) -> bool:
    """Whether objects of it hold nothing that could ever hold them."""
    kinds = [one.annotation for one in node.body if isinstance(one, ast.AnnAssign)]
    names = {one.id for kind in kinds for one in ast.walk(kind) if isinstance(one, ast.Name)}
    quoted = any(
        isinstance(one, ast.Constant) and one.value for kind in kinds for one in ast.walk(kind)
    )
    return names <= PLAIN and not quoted


def _has(node: ast.ClassDef, method: str) -> bool:
    return any(isinstance(one, ast.FunctionDef) and one.name == method for one in node.body)


def _constants(node: ast.ClassDef) -> Iterator[_Edit]:
    for one in node.body:
        if not isinstance(one, ast.AnnAssign) or not _is_of_class(one) or one.value is None:
            continue
        assert isinstance(one.annotation, ast.Subscript)
        kind, pad = ast.unparse(one.annotation.slice), " " * one.col_offset
        lines = (
            f"{pad}@property",
            f"{pad}def {ast.unparse(one.target)}(self) -> {kind}:",
            f"{pad}    return {ast.unparse(one.value)}",
        )
        yield _Edit(one.lineno - 1, one.end_lineno or 0, lines, replaces=True)


def _is_of_class(one: ast.AnnAssign) -> bool:
    return ast.unparse(one.annotation).startswith("ClassVar[")


def _constructor(node: ast.ClassDef, text: str, *, frozen: bool) -> str:
    if node.bases:
        raise ValueError(f"dataclass {node.name} has a base: write its constructor here first")
    parameters, body = [], []
    for one in node.body:
        if not isinstance(one, ast.AnnAssign) or not isinstance(one.target, ast.Name):
            continue
        if _is_of_class(one):
            continue
        kind, name = ast.unparse(one.annotation), one.target.id
        if isinstance(one.value, ast.Call) and ast.unparse(one.value.func) == "field":
            options = {option.arg: option.value for option in one.value.keywords}
            if set(options) == {"repr"}:
                parameters.append(f"{name}: {kind}")
                body.append(f"self.{name} = {name}")
                continue
            if set(options) != {"default_factory"}:
                raise ValueError(
                    f"field {name} of {node.name}: only default_factory or repr is known"
                )
            made = f"({ast.unparse(options['default_factory'])})()"
            parameters.append(f"{name}: {kind} | None = None")
            body.append(f"self.{name} = {made} if {name} is None else {name}")
            continue
        default = "" if one.value is None else f" = {ast.get_source_segment(text, one.value)}"
        parameters.append(f"{name}: {kind}{default}")
        body.append(f"self.{name} = {name}")
    if _has(node, "__post_init__"):
        body.append("self.__post_init__()")
    # Only here is a field of a frozen one ever assigned to.
    ignored = "  # type: ignore[misc]" if frozen and body else ""
    return (
        f"def __init__(self, {', '.join(parameters)}) -> None: {'; '.join(body) or 'pass'}{ignored}"
    )
