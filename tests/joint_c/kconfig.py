"""The port's settings as a build of the SDK would define them: defaults of its Kconfig."""

import re
from pathlib import Path

PORT = Path(__file__).parents[2] / "deploy" / "joint" / "esp-idf"
CHIPS = ("ESP32", "ESP32S3", "ESP32C3")


def defaults(chip: str) -> dict[str, int | str | None]:
    """Each setting's name with its value; None for a switch, which is off and so not defined."""
    found: dict[str, int | str | None] = {}
    for block in (PORT / "main" / "Kconfig.projbuild").read_text().split("\n    config ")[1:]:
        name = "CONFIG_" + block.split("\n", 1)[0].strip()
        touch = {"depends on SOC_TOUCH": True, "depends on !SOC_TOUCH": False}
        if any(text in block and wanted != (chip != "ESP32C3") for text, wanted in touch.items()):
            continue
        if "        bool " in block:
            found[name] = None
            continue
        if "        string " in block:
            text = re.search(rf'default "(.+)" if IDF_TARGET_{chip}\n', block)
            assert text is not None, f"{name} has no default for {chip}"
            found[name] = text[1]
            continue
        own = re.search(rf"default (-?\d+) if IDF_TARGET_{chip}\n", block)
        default = own or re.search(r"default (-?\d+)\n", block)
        assert default is not None, f"{name} has no default for {chip}"
        low, high = re.search(r"range (-?\d+) (\d+)\n", block).groups()  # type: ignore[union-attr]
        found[name] = int(default[1])
        assert int(low) <= int(default[1]) <= int(high), name
    return found


def flags(chip: str) -> list[str]:
    """The same for a compiler."""
    values = defaults(chip).items()
    return [
        f'-D{name}="{value}"' if isinstance(value, str) else f"-D{name}={value}"
        for name, value in values
        if value is not None
    ]
