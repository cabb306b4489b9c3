"""What all descriptions of answers have in common."""

from collections.abc import Iterable
from typing import Any, Final

import orjson
from pydantic import BaseModel, ConfigDict, Field, with_config
from pydantic.fields import FieldInfo

DESCRIBED: Final = ConfigDict(
    extra="forbid",
    strict=True,
    use_attribute_docstrings=True,
    defer_build=True,
    json_schema_serialization_defaults_required=True,
)
"""All members are always there, `null` where something is not known.

Nothing beyond them is taken, so that a test finds a member that nobody described. The document does
not say so: members may be added, and clients ignore those they do not know.
"""


class ResponseModel(BaseModel):
    """An answer that is no value of the core."""

    model_config = DESCRIBED


def as_answer(kind: type, config: ConfigDict = DESCRIBED) -> None:
    """Describe a dataclass of the core, and all in it, as answers are: by its own docstrings."""
    with_config(config)(kind)


def plain(value: object) -> Any:
    """A value of the core as its answer says it."""
    return orjson.loads(orjson.dumps(value))


def eg(example: Any) -> Any:
    """A member with an example; its docstring describes it where its name does not say all."""
    return Field(examples=[example])


def one_of(words: Iterable[str]) -> FieldInfo:
    """For a text that is one of these words."""
    found: FieldInfo = Field(json_schema_extra={"enum": list(words)})
    return found


def example_of(kind: type[BaseModel]) -> dict[str, Any]:
    """The example of an answer, made of those of its members."""
    return {
        name: field.examples[0]
        for name, field in kind.model_fields.items()
        if field.is_required() and field.examples
    }
