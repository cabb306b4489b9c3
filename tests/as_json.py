"""Values of the core as those outside see them."""

from typing import Any

import orjson


def as_json(value: object) -> Any:
    """A value through JSON and back, as the API gives it out."""
    return orjson.loads(orjson.dumps(value))
