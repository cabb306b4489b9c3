"""Firmware images: the whole ones, and every way in which one is not."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.cable.errors import CableError, Trouble
from coordinator.cable.image import BOOTLOADER_OFFSETS, read_image
from tests.coordinator.cable.images import ESP32_S3, merged, partition, program


def why_not(data: bytes) -> str:
    with pytest.raises(CableError) as caught:
        read_image(data)
    assert caught.value.trouble is Trouble.IMAGE
    return str(caught.value)


def test_library_of_the_maker_finds_the_tests_own_program_whole(tmp_path: Path) -> None:
    """The outside reference: esptool 5.6 reads it, and finds checksum and digest right."""
    from esptool.bin_image import LoadFirmwareImage

    (tmp_path / "program.bin").write_bytes(program())
    found = LoadFirmwareImage("esp32s3", str(tmp_path / "program.bin"))
    assert found.checksum == found.calculate_checksum()
    assert found.stored_digest == found.calc_digest
    assert found.chip_id == ESP32_S3


@pytest.mark.parametrize("offset", BOOTLOADER_OFFSETS)
@pytest.mark.parametrize("digest", [True, False])
def test_merged_image_is_read(offset: int, digest: bool) -> None:
    found = read_image(merged(program(body=b"boot", digest=digest), program(digest=digest), offset))
    assert (found.chip_id, found.bootloader_offset) == (ESP32_S3, offset)


def test_program_alone_is_no_merged_image() -> None:
    assert "no table of partitions" in why_not(program())


@pytest.mark.parametrize("data", [b"", b"\xff" * 0x20000, b"\x7fELF" + bytes(0x20000), b"hello"])
def test_other_files_are_refused(data: bytes) -> None:
    assert "does not begin with a bootloader" in why_not(data)


def test_program_and_bootloader_for_different_chips_are_refused() -> None:
    assert "different chips" in why_not(merged(app=program(chip_id=5)))


def test_table_without_a_program_is_refused() -> None:
    assert "with a program" in why_not(merged(table=partition(1, 0x9000)))
    assert "has no program" in why_not(merged(table=partition(0, 0x400000)))


@given(st.data())
def test_image_that_is_cut_is_refused(data: st.DataObject) -> None:
    whole = merged()
    why_not(whole[: data.draw(st.integers(0, len(whole) - 1))])


@given(st.integers(0, len(program()) - 1), st.integers(1, 255))
def test_one_wrong_byte_of_a_program_is_found(at: int, change: int) -> None:
    wrong = bytearray(program())
    wrong[at] ^= change
    why_not(merged(app=bytes(wrong)))


@given(st.binary(max_size=200))
def test_any_bytes_are_survived(data: bytes) -> None:
    for offset in BOOTLOADER_OFFSETS:
        why_not(b"\xff" * offset + b"\xe9" + data)


def test_missing_library_is_told_with_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    from coordinator.cable.flash import require_library

    monkeypatch.setitem(__import__("sys").modules, "esptool", None)
    with pytest.raises(CableError, match=r"pip install 'unisono\[cable\]'") as caught:
        require_library()
    assert caught.value.trouble is Trouble.LACKING


class Chip:
    """What the library gives for a board."""

    CHIP_NAME = "ESP32-S3"
    IMAGE_CHIP_ID = 9
    BOOTLOADER_FLASH_OFFSET = 0

    def __enter__(self) -> "Chip":
        return self

    def __exit__(self, *error: object) -> None:
        pass


def flashed(
    monkeypatch: pytest.MonkeyPatch, image: bytes, written: list[object]
) -> tuple[str, list[tuple[int, int]]]:
    from esptool import cmds
    from esptool.logger import log

    from coordinator.cable.flash import flash

    def write(chip: object, pieces: object) -> None:
        written.append(pieces)
        log.progress_bar(1, 2)

    monkeypatch.setattr(cmds, "detect_chip", lambda port: Chip())
    monkeypatch.setattr(cmds, "run_stub", lambda chip: chip)
    monkeypatch.setattr(cmds, "attach_flash", lambda chip: None)
    monkeypatch.setattr(cmds, "write_flash", write)
    monkeypatch.setattr(cmds, "reset_chip", lambda chip: written.append("reset"))
    told: list[tuple[int, int]] = []
    chip = flash(Path("port"), read_image(image), lambda done, of: told.append((done, of)))
    return chip, told


def test_image_is_written_whole_from_address_0_and_the_board_restarts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The library's part is played by a stand-in: no board was at hand."""
    written: list[object] = []
    assert flashed(monkeypatch, merged(), written) == ("ESP32-S3", [(1, 2)])
    assert written == [[(0, merged())], "reset"]


@pytest.mark.parametrize("image", [
    merged(program(chip_id=5, body=b"boot"), program(chip_id=5)),
    merged(offset=0x1000),
])  # fmt: skip
def test_image_for_another_chip_is_not_written(
    monkeypatch: pytest.MonkeyPatch, image: bytes
) -> None:
    written: list[object] = []
    with pytest.raises(CableError, match="for another chip: the board is an ESP32-S3"):
        flashed(monkeypatch, image, written)
    assert written == []
