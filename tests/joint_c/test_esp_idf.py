"""The port for microcontrollers compiles, against a stand-in for its SDK: nothing of it is run.

Whether names and types are the SDK's own is not shown here: deploy/joint/esp-idf/README.md tells
how that was looked at.
"""

import csv
import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.joint_c.kconfig import CHIPS, PORT, defaults, flags

COMPILER = "riscv64-unknown-elf-gcc"
SOURCES = sorted([*PORT.glob("main/*.c"), *PORT.glob("parts/*.c")])


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
    ("right", "wrong"),
    [
        (".trans_queue_depth = 1", ".queue_depth = 1"),
        ("rmt_disable(channels[i])", "rmt_disable()"),
        ("stepper_check(void)", "stepper_check(int)"),
    ],
)
def test_a_slip_does_not_compile(right: str, wrong: str, tmp_path: Path) -> None:
    text = (PORT / "main" / "stepper.c").read_text()
    assert right in text
    slip = tmp_path / "stepper.c"
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
        if value is None or value < 0:
            continue
        if "_PIN_" in name:
            pins.append(value)
        elif "_ADC_" in name and not name.endswith("_MV"):
            pins.append(CONVERTER[chip][value])
        elif "_TOUCH_" in name:
            pins.append(TOUCH[chip][value])
    assert len(pins) == len(set(pins)) > 8
    assert not set(pins) & FORBIDDEN[chip]


def test_both_slots_for_a_program_fit_the_flash() -> None:
    rows = [
        row
        for row in csv.reader((PORT / "partitions.csv").read_text().splitlines())
        if row[0][0] != "#"
    ]
    at, slots = 0x9000, []
    for _, kind, sub, _, size in ([word.strip() for word in row] for row in rows):
        if kind == "app":
            at = -(-at // 0x10000) * 0x10000
            slots.append((sub, int(size, 16)))
        at += int(size, 16)
    assert at <= 4 << 20
    assert [sub for sub, _ in slots] == ["ota_0", "ota_1"]
    assert slots[0][1] == slots[1][1]


def test_who_opens_it_reads_first_what_was_never_run() -> None:
    for file in (PORT / "README.md", PORT / "main" / "main.c"):
        assert "NEVER RUN" in file.read_text()[:700]
