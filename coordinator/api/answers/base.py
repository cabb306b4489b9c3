"""What all descriptions of answers have in common."""

from collections.abc import Iterable
from typing import Any

from pydantic import BaseModel, ConfigDict, Field
from pydantic.fields import FieldInfo


class Answer(BaseModel):
    """All members are always there, `null` where something is not known.

    Nothing beyond them is taken here, so that a test finds a member that nobody described. The
    document does not say so: members may be added, and clients ignore those they do not know.
    """

    model_config = ConfigDict(
        extra="forbid", strict=True, use_attribute_docstrings=True, defer_build=True
    )


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
