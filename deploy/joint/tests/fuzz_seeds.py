"""Writes what the fuzzers begin with: the bytes of the golden vectors, a folder for each fuzzer."""

import json
import sys
from pathlib import Path

VECTORS = Path(__file__).parents[3] / "protocol" / "vectors"
FUZZERS = {
    "drive": "datagram",
    "frame": "frame",
    "points": "points",
    "image": "image",
    "image-header": "image",
    "request": "message",
    "opening": "message",
}


def cases(name: str) -> list[dict[str, object]]:
    """The cases of one file of vectors."""
    return list(json.loads((VECTORS / f"{name}.json").read_text())["cases"])


def seeds() -> list[tuple[str, str]]:
    """Pairs of a fuzzer and hex."""
    found = [("datagram", str(case["bytes"])) for case in cases("drive")]
    found += [("datagram", str(case["request"])) for case in cases("ntp")]
    for case in cases("stream"):
        found += [("frame", str(case["frame"])), ("message", str(case["body"]))]
    found += [("points", str(case["body"])) for case in cases("points")]
    image = json.loads((VECTORS / "image.json").read_text())
    found += [("image", str(case["body"])) for case in image["frames"]]
    found.append(("image", str(image["header"])))
    for case in cases("malformed"):
        if case["what"] in FUZZERS:
            found.append((FUZZERS[str(case["what"])], str(case["bytes"])))
    # The step, beyond any frame.
    cable = json.loads((VECTORS / "cable.json").read_text())
    found += [("cable", "ff" + str(case["bytes"])) for case in cable["frames"] + cable["streams"]]
    # The step; then masked a text, a fragment, a ping and a close.
    found.append(
        ("websocket", "00018337fa213d7f9f4d808237fa213d5b95898137fa213d08888237fa213d3412")
    )
    return found


def main(folder: Path) -> None:
    """Writes them below the folder."""
    for place, (fuzzer, content) in enumerate(seeds()):
        below = folder / f"fuzz_{fuzzer}"
        below.mkdir(parents=True, exist_ok=True)
        (below / f"seed-{place}").write_bytes(bytes.fromhex(content))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
