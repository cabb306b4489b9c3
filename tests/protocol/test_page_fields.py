"""README.md's tables of fields are those of the messages: names, bounds, defaults, all of them."""

from typing import Any

from pydantic import BaseModel

from protocol.configuration import Configuration, Homing, IdleCurrent, OutputsOff
from protocol.export.outputs import MESSAGES, schema
from protocol.messages import Capabilities, Edge, schema_name
from tests.protocol.pages import table

POWERS = {2**31 - 1: "2³¹−1", 2**40: "2⁴⁰", 2**53 - 1: "2⁵³−1", -1: "−1"}
NAME = "^[A-Za-z0-9_-]{1,32}$"
OBJECTS = {
    "Edge": "edge",
    "ConditionWord": "a word",
    "Capabilities": "object",
    "Configuration": "object",
    "Homing": "object",
    "IdleCurrent": "object",
    "OutputsOff": "object",
}


def holds(found: dict[str, Any]) -> str:
    """What a property of a JSON Schema holds, in the words of the page."""
    if "anyOf" in found:
        words = " or ".join(holds(one) for one in found["anyOf"])
    elif "$ref" in found:
        words = OBJECTS[found["$ref"].rpartition("/")[2]]
    elif found["type"] == "string":
        words = text(found)
    elif found["type"] == "array" and "prefixItems" in found["items"]:
        pair = " and ".join(holds(one) for one in found["items"]["prefixItems"])
        words = f"{found['minItems']} to {found['maxItems']} pairs of {pair}"
    elif found["type"] == "array":
        words = f"list of {found['maxItems']} at most, each {holds(found['items'])}"
    elif found["type"] == "integer":
        words = integer(found)
    else:
        words = {"boolean": "true or false", "null": "null"}[found["type"]]
    if "default" not in found:
        return words
    default = {"None": "null", "[]": "empty", "False": "false"}.get(
        str(found["default"]), found["default"]
    )
    return f"{words}; default {default}"


def text(found: dict[str, Any]) -> str:
    if found.get("pattern") == NAME:
        return "1 to 32 of `A`–`Z` `a`–`z` `0`–`9` `_` `-`"
    if "pattern" in found:
        digits = int(found["pattern"].rpartition("{")[2].rstrip("}$"))
        return f"hex of {digits // 2} bytes"
    return f"text, {found['maxLength']} characters at most"


def integer(found: dict[str, Any]) -> str:
    low = found["exclusiveMinimum"] + 1 if "exclusiveMinimum" in found else found.get("minimum")
    high = found.get("maximum")
    assert low is not None
    assert high is not None
    if (low, high) == (0, 2**32 - 1):
        return "u32"
    if (low, high) == (-(2**53) + 1, 2**53 - 1):
        return "i53"
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
    wanted |= fields_of(OutputsOff, "outputs_off")
    wanted |= fields_of(IdleCurrent, "idle_current")
    assert listed("configuration") == wanted
