"""The port for microcontrollers compiles, against a stand-in for its SDK: nothing of it is run.

Whether names and types are the SDK's own is not shown here: deploy/joint/esp-idf/README.md tells
how that was looked at.
"""

import csv
import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from protocol.image import describe, encode_header
from tests.joint_c.kconfig import CHIPS, PORT, defaults, flags

COMPILER = "riscv64-unknown-elf-gcc"
SIGNATURE = PORT.parent / "posix" / "signature.c"
"""Of the port too: its CMakeLists.txt names it."""
SOURCES = sorted([*PORT.glob("main/*.c"), *PORT.glob("parts/*.c"), SIGNATURE])


def compiled(chip: str, sources: Sequence[Path], folder: Path) -> subprocess.CompletedProcess[str]:
    if shutil.which(COMPILER) is None:
        pytest.fail(f"The port needs {COMPILER}: 'make system' installs it.")
    includes = [PORT / "stub", PORT / "main", PORT / "parts", PORT.parent / "core"]
    return subprocess.run(
        [
            COMPILER,
            *["-std=gnu17", "-O2", "-march=rv32imc", "-mabi=ilp32", "--specs=picolibc.specs"],
            *["-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Werror", "-c"],
            f"-DCONFIG_IDF_TARGET_{chip}",
            *flags(chip),
            *(f"-I{folder}" for folder in includes),
            *map(str, sources),
        ],
        cwd=folder,
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize("chip", CHIPS)
def test_every_file_compiles_without_a_warning(chip: str, tmp_path: Path) -> None:
    done = compiled(chip, SOURCES, tmp_path)
    assert done.returncode == 0, done.stderr
    assert len(list(tmp_path.glob("*.o"))) == len(SOURCES) > 15


@pytest.mark.parametrize(
    ("file", "right", "wrong"),
    [
        ("stepper.c", ".trans_queue_depth = 1", ".queue_depth = 1"),
        ("stepper.c", "rmt_disable(channels[i])", "rmt_disable()"),
        ("stepper.c", "stepper_check(void)", "stepper_check(int)"),
        ("slots.c", "other->erase_size", "other->sector_size"),
        ("slots.c", "esp_ota_set_boot_partition(other)", "esp_ota_set_boot_partition(*other)"),
    ],
)
def test_a_slip_does_not_compile(file: str, right: str, wrong: str, tmp_path: Path) -> None:
    text = (PORT / "main" / file).read_text()
    assert right in text
    slip = tmp_path / file
    slip.write_text(text.replace(right, wrong))
    assert compiled("ESP32C3", [slip], tmp_path).returncode != 0


def test_every_setting_is_used_and_every_one_used_can_be_set() -> None:
    used = set()
    for source in [*SOURCES, *PORT.glob("main/*.h")]:
        used |= set(re.findall(r"CONFIG_UJ_\w+", source.read_text()))
    assert used == {name for chip in CHIPS for name in defaults(chip)}


# Espressif's data sheets, from memory: pins that the flash has, that the cable has (UART 0, USB),
# that only read, or that decide at reset how the chip starts. GPIO of each touch channel and of
# each channel of converter 1 beside.
FORBIDDEN = {
    "ESP32": {0, 1, 2, 3, 5, 12, 15, *range(6, 12)},
    "ESP32S3": {0, 3, 45, 46, 19, 20, *range(26, 38)},
    "ESP32C3": {2, 8, 9, *range(11, 20)},
}
CONVERTER = {
    "ESP32": dict(zip(range(8), (36, 37, 38, 39, 32, 33, 34, 35), strict=True)),
    "ESP32S3": {n: n + 1 for n in range(10)},
    "ESP32C3": {n: n for n in range(5)},
}
TOUCH = {
    "ESP32": dict(zip(range(10), (4, 0, 2, 15, 13, 12, 14, 27, 33, 32), strict=True)),
    "ESP32S3": {n: n for n in range(1, 15)},
    "ESP32C3": {},
}


@pytest.mark.parametrize("chip", CHIPS)
def test_no_pin_is_given_twice_or_taken_from_the_chip(chip: str) -> None:
    pins: list[int] = []
    for name, value in defaults(chip).items():
        if not isinstance(value, int) or value < 0:
            continue
        if "_PIN_" in name:
            pins.append(value)
        elif "_ADC_" in name and not name.endswith("_MV"):
            pins.append(CONVERTER[chip][value])
        elif "_TOUCH_" in name:
            pins.append(TOUCH[chip][value])
    assert len(pins) == len(set(pins)) > 8
    assert not set(pins) & FORBIDDEN[chip]


@dataclass(frozen=True)
class Partition:
    """A line of the table."""

    kind: str
    sub: str
    at: int
    size: int


def partitions() -> dict[str, Partition]:
    lines = (PORT / "partitions.csv").read_text().splitlines()
    rows = [[word.strip() for word in row] for row in csv.reader(lines) if row[0][0] != "#"]
    return {row[0]: Partition(row[1], row[2], int(row[3], 16), int(row[4], 16)) for row in rows}


FLASH = 4 << 20
TABLE_END = 0x8000 + 0x1000
"""The table itself is one sector at CONFIG_PARTITION_TABLE_OFFSET, by default 0x8000."""


def test_partitions_follow_each_other_and_fit_the_flash() -> None:
    """By the SDK's api-guides/partition-tables.rst (6.0.1).

    App partitions stand at 64 KiB, their sizes are whole sectors, and other ones stand at whole
    sectors; otadata has two sectors.
    """
    end = TABLE_END
    for name, one in partitions().items():
        assert one.at >= end, name
        assert one.at % (0x10000 if one.kind == "app" else 0x1000) == 0, name
        assert one.size % 0x1000 == 0, name
        end = one.at + one.size
    assert end <= FLASH


def test_two_partitions_of_one_size_take_programs() -> None:
    found = partitions()
    apps = {name: one for name, one in found.items() if one.kind == "app"}
    assert {one.sub for one in apps.values()} == set(apps) == {"ota_0", "ota_1"}
    assert found["ota_0"].size == found["ota_1"].size == 1_966_080
    assert (found["otadata"].kind, found["otadata"].sub) == ("data", "ota")
    assert found["otadata"].size == 2 * 0x1000


def test_the_page_tells_the_table_as_it_is() -> None:
    page = (PORT / "README.md").read_text()
    for name, one in partitions().items():
        assert f"| `{name}` | {one.at:#x} | {one.size:,} |" in page


def test_the_loader_goes_back_and_the_table_is_this_one() -> None:
    settings = (PORT / "sdkconfig.defaults").read_text().splitlines()
    assert "CONFIG_BOOTLOADER_APP_ROLLBACK_ENABLE=y" in settings
    assert 'CONFIG_PARTITION_TABLE_CUSTOM_FILENAME="partitions.csv"' in settings
    assert "CONFIG_ESPTOOLPY_FLASHSIZE_4MB=y" in settings


def test_the_build_has_the_check_of_signatures_and_its_library() -> None:
    assert "../../posix/signature.c" in (PORT / "main" / "CMakeLists.txt").read_text()
    assert re.search(r'espressif/libsodium: "', (PORT / "main" / "idf_component.yml").read_text())


@pytest.mark.parametrize("chip", CHIPS)
def test_a_board_has_a_name_that_an_image_can_be_signed_for(chip: str) -> None:
    board = defaults(chip)["CONFIG_UJ_BOARD"]
    assert isinstance(board, str)
    assert encode_header(describe(board, "1", b"program"))


def test_who_opens_it_reads_first_what_was_never_run() -> None:
    for file in (PORT / "README.md", PORT / "main" / "main.c", PORT / "main" / "slots.h"):
        assert "never run" in file.read_text()[:700].lower()
