"""README.md's tables of fields are those of the messages: names, bounds, defaults, all of them."""

from typing import Any

from pydantic import BaseModel

from protocol.configuration import Configuration, Homing
from protocol.export import MESSAGES, schema, schema_name
from protocol.messages import Capabilities, Edge
from tests.protocol.pages import table

POWERS = {2**31 - 1: "2³¹−1", 2**40: "2⁴⁰", 2**62: "2⁶²", -(2**62): "−2⁶²", -1: "−1"}
OBJECTS = {"Edge": "edge", "Capabilities": "object", "Configuration": "object", "Homing": "object"}


def holds(found: dict[str, Any]) -> str:
    """What a property of a JSON Schema holds, in the words of the page."""
    if "anyOf" in found:
        words = " or ".join(holds(one) for one in found["anyOf"])
    elif "$ref" in found:
        words = OBJECTS[found["$ref"].rpartition("/")[2]]
    elif found["type"] == "string":
        words = text(found)
    elif found["type"] == "array" and "maxItems" in found:
        pair = " and ".join(holds(one) for one in found["items"]["prefixItems"])
        words = f"{found['minItems']} to {found['maxItems']} pairs of {pair}"
    elif found["type"] == "array":
        words = f"list of {holds(found['items'])}"
    elif found["type"] == "integer":
        words = integer(found)
    else:
        words = {"boolean": "true or false", "null": "null"}[found["type"]]
    if "default" not in found:
        return words
    default = {"None": "null", "[]": "empty"}.get(str(found["default"]), found["default"])
    return f"{words}; default {default}"


def text(found: dict[str, Any]) -> str:
    if "pattern" in found:
        digits = int(found["pattern"].rpartition("{")[2].rstrip("}$"))
        return f"hex of {digits // 2} bytes"
    if "maxLength" in found:
        return f"text, {found['minLength']} to {found['maxLength']} characters"
    return "text"


def integer(found: dict[str, Any]) -> str:
    low = found["exclusiveMinimum"] + 1 if "exclusiveMinimum" in found else found.get("minimum")
    high = found.get("maximum")
    if low is None:
        return "integer"
    if high is None:
        return f"from {low}"
    if (low, high) == (0, 2**32 - 1):
        return "u32"
    if (low, high) == (-(2**63), 2**63 - 1):
        return "i64"
    return f"{POWERS.get(low, low)} to {POWERS.get(high, high)}"


def fields_of(model: type[BaseModel], name: str) -> dict[tuple[str, str], str]:
    told_by = {"type", "event"}
    return {
        (name, field): holds(found)
        for field, found in schema(model)["properties"].items()
        if field not in told_by
    }


def listed(name: str) -> dict[tuple[str, str], str]:
    found = [((row[0].strip("`"), row[1].strip("`")), row[2]) for row in table(name)]
    assert len(found) == len(dict(found))
    return dict(found)


def test_fields_of_messages_are_exactly_those_of_the_code() -> None:
    wanted = fields_of(Capabilities, "capabilities") | fields_of(Edge, "edge")
    for message in MESSAGES:
        wanted |= fields_of(message, schema_name(message))
    assert listed("fields") == wanted


def test_fields_of_the_configuration_are_exactly_those_of_the_code() -> None:
    wanted = fields_of(Configuration, "configuration") | fields_of(Homing, "homing")
    assert listed("configuration") == wanted
