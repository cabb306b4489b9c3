"""Writes what is made from the code: schemas, golden vectors, and the generated parts of README.

    python -m protocol.export

The output depends on nothing but the code, so running it twice changes nothing.
"""

import json
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel

from protocol import messages
from protocol.export import (
    golden_bytes,
    golden_cable,
    golden_image,
    golden_malformed,
    golden_motion,
    golden_whole,
    readme,
)
from protocol.messages import schema_name

HERE: Final = Path(__file__).parent.parent
VECTORS: Final = {
    "keys": golden_bytes.keys_vectors,
    "handshake": golden_bytes.handshake_vectors,
    "stream": golden_bytes.stream_vectors,
    "points": golden_bytes.points_vectors,
    "image": golden_image.image_vectors,
    "ntp": golden_bytes.ntp_vectors,
    "drive": golden_bytes.drive_vectors,
    "status": golden_bytes.status_vectors,
    "malformed": golden_malformed.malformed_vectors,
    "ramp": golden_motion.ramp_vectors,
    "course": golden_motion.course_vectors,
    "clock": golden_motion.clock_vectors,
    "fixedpoint": golden_whole.fixedpoint_vectors,
    "segments": golden_motion.segment_vectors,
    "middle": golden_whole.middle_vectors,
    "cable": golden_cable.cable_vectors,
}
MESSAGES: Final[tuple[type[BaseModel], ...]] = (
    messages.Hello,
    messages.Welcome,
    messages.Proof,
    messages.Configure,
    messages.Prepare,
    messages.Discard,
    messages.Clear,
    messages.Blink,
    messages.Update,
    messages.Install,
    messages.Ack,
    messages.Reject,
    messages.Homed,
    messages.HomingFailed,
    messages.Started,
    messages.Finished,
    messages.Held,
    messages.Stopped,
    messages.Faulted,
    messages.Updating,
)


def schema(message: type[BaseModel]) -> dict[str, Any]:
    """A message's JSON Schema. What tells messages apart is required, whatever its default."""
    found = message.model_json_schema()
    told_by = [name for name in ("type", "event") if name in found["properties"]]
    found["required"] = sorted({*found.get("required", []), *told_by})
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found}


def outputs() -> dict[Path, str]:
    """Every generated file and its text."""
    files = {HERE / "vectors" / f"{name}.json": _json(make()) for name, make in VECTORS.items()}
    files |= {
        HERE / "schemas" / f"{schema_name(message)}.json": _json(schema(message))
        for message in MESSAGES
    }
    page = HERE / "README.md"
    files[page] = readme.fill(page.read_text(encoding="utf-8"))
    return files


def main() -> None:
    """Write every generated file; remove vectors and schemas that nothing makes any more."""
    files = outputs()
    for folder in ("vectors", "schemas"):
        (HERE / folder).mkdir(exist_ok=True)
        for stale in set((HERE / folder).glob("*.json")) - set(files):
            stale.unlink()
    for path, text in files.items():
        path.write_text(text, encoding="utf-8")


def _json(value: object) -> str:
    return json.dumps(value, indent=1, ensure_ascii=False) + "\n"
