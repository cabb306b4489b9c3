"""`unisono key firmware`, `joint sign`, `joint image` and `joint update`."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from coordinator.api.responses.arm import CANCELLED_UPDATE, UPDATE, UPDATING
from coordinator.api.responses.base import plain
from coordinator.cli import firmware
from coordinator.cli.watch import Interrupts
from coordinator.codes.update_phase import UpdatePhase
from coordinator.config.regular_file import read_regular
from coordinator.config.update_key import make_update_key
from protocol.image import HEADER_BYTES, SIGNATURE_BYTES
from tests.coordinator.cli.here import Unisono, unisono_here
from tests.coordinator.cli.servers import ARM, Answer, joint, served

HEAD = HEADER_BYTES + SIGNATURE_BYTES
IMAGE = b"pricking out " * 300


@pytest.fixture(name="unisono")
def unisono_of(capsys: pytest.CaptureFixture[str]) -> Unisono:
    return unisono_here(capsys)


@pytest.fixture(name="data")
def data_with_a_key(tmp_path: Path) -> Path:
    make_update_key(tmp_path / "data")
    return tmp_path / "data"


@pytest.fixture(name="signed")
def signed_image(tmp_path: Path, data: Path, unisono: Unisono) -> Path:
    (tmp_path / "joint.bin").write_bytes(IMAGE)
    done = sign(unisono, tmp_path / "joint.bin", data)
    assert done.code == 0, done.err
    return tmp_path / "joint.bin.signed"


def sign(unisono: Unisono, image: Path, data: Path, *more: str, board: str = "bench-joint") -> Any:
    words = ("--board", board, "--firmware", "1.5.0", "--data", str(data), *more)
    return unisono("joint", "sign", str(image), *words)


def test_a_pair_is_made_once_and_the_secret_half_is_told_nowhere(
    tmp_path: Path, unisono: Unisono
) -> None:
    done = unisono("key", "firmware", "--data", str(tmp_path), "--json")
    assert json.loads(done.out) == {
        "key": str(tmp_path / "firmware.key"), "public": str(tmp_path / "firmware.pub"),
    }  # fmt: skip
    secret = (tmp_path / "firmware.key").read_text().strip()
    again = unisono("key", "firmware", "--data", str(tmp_path))
    assert again.code == 2
    assert "is there already" in again.err
    assert secret not in done.out + done.err + again.out + again.err


def test_a_signed_file_is_header_signature_and_image(
    signed: Path, data: Path, unisono: Unisono
) -> None:
    held = signed.read_bytes()
    assert (len(held), held[HEAD:]) == (HEAD + len(IMAGE), IMAGE)
    shown = unisono("joint", "image", str(signed), "--data", str(data))
    assert shown.code == 0
    assert "board bench-joint, firmware 1.5.0" in shown.out
    assert f"signed with the key of {data}" in shown.out
    told = json.loads(unisono("joint", "image", str(signed), "--data", str(data), "--json").out)
    assert (told["size_bytes"], told["signed_by_this_key"]) == (len(IMAGE), True)


@pytest.mark.parametrize("own", [True, False], ids=["another key", "no key"])
def test_what_another_signed_is_told_as_that(
    tmp_path: Path, signed: Path, unisono: Unisono, own: bool
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    if own:
        make_update_key(other)
    shown = unisono("joint", "image", str(signed), "--data", str(other))
    assert ("NOT signed with the key" if own else "is not known") in shown.out
    told = json.loads(unisono("joint", "image", str(signed), "--data", str(other), "--json").out)
    assert told["signed_by_this_key"] is (False if own else None)


def test_a_byte_of_the_header_that_is_another_is_no_signature_any_more(
    signed: Path, data: Path, unisono: Unisono
) -> None:
    held = bytearray(signed.read_bytes())
    held[held.index(b"1.5.0")] = ord("2")
    signed.write_bytes(held)
    told = unisono("joint", "image", str(signed), "--data", str(data)).out
    assert f"NOT signed with the key of {data}, or its header was changed since" in told


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            lambda held: held[:-1],
            "is cut, or its header is damaged: it has 4063 bytes, by its header 4064",
        ),
        (lambda held: held + b"!", "is too long, or its header is damaged: it has 4065 bytes"),
        (
            lambda held: held[HEAD:],
            "is no signed image: it begins with 'pricking out pri' in place of 'unisono.image.v1'",
        ),
        (
            lambda held: held.replace(b"unisono.image", b"unisono\xffimage", 1),
            "is no signed image: it begins with 'unisono\\xffimage.v1' in place of 'unisono.image",
        ),
        (lambda held: b"", "is no signed image: it has 0 bytes"),
        (
            lambda held: held[:-1] + b"!",
            "is damaged: its image has another SHA-256 than its header says",
        ),
        (
            lambda held: held.replace(b"bench-joint", b"Bench-joint", 1),
            "is damaged: the board in its header is 'Bench-joint', but must be 1 to 16 of a-z, 0-9",
        ),
        (
            lambda held: held.replace(b"1.5.0\0", b"1.5.0\1", 1),
            "is damaged: the version in its header is '1.5.0\\x01', but must be 1 to 32 characters",
        ),
        (
            lambda held: held[:64] + bytes(4) + held[68:],
            "is damaged: the size in its header is 0, but must be 1 to 2147483647 bytes",
        ),
    ],
    ids=[
        *("cut", "too long", "the image alone", "label", "empty", "damaged"),
        *("board", "version", "size"),
    ],
)
def test_what_is_no_whole_signed_image_is_named_by_every_command_that_takes_one(
    signed: Path, data: Path, unisono: Unisono, change: Callable[[bytes], bytes], sentence: str
) -> None:
    signed.write_bytes(change(signed.read_bytes()))
    for words in (("image", str(signed), "--data", str(data)), ("update", "elbow", str(signed))):
        done = unisono("joint", *words)
        assert done.code == 2
        assert f"{signed} {sentence}" in done.err


@pytest.mark.parametrize(
    ("board", "firmware_word", "image", "sentence"),
    [
        ("Bench Joint", "1.5.0", IMAGE, "a board is 1 to 16 of a-z, 0-9 and hyphen"),
        ("bench-joint", "ü", IMAGE, "a version is 1 to 32 characters of printable ASCII"),
        ("bench-joint", "1.5.0", b"", "an image of 0 bytes"),
    ],
)
def test_what_cannot_be_signed_is_told_and_no_file_is_made(
    tmp_path: Path, data: Path, unisono: Unisono, board: str, firmware_word: str, image: bytes,
    sentence: str,
) -> None:  # fmt: skip
    (tmp_path / "joint.bin").write_bytes(image)
    words = ("--board", board, "--firmware", firmware_word, "--data", str(data))
    done = unisono("joint", "sign", str(tmp_path / "joint.bin"), *words)
    assert done.code == 2
    assert sentence in done.err
    assert not (tmp_path / "joint.bin.signed").exists()


def test_without_a_key_nothing_is_signed_and_the_way_to_one_is_told(
    tmp_path: Path, unisono: Unisono
) -> None:
    (tmp_path / "joint.bin").write_bytes(IMAGE)
    done = sign(unisono, tmp_path / "joint.bin", tmp_path / "elsewhere")
    assert done.code == 2
    assert "unisono key firmware --data" in done.err


def test_the_output_may_be_named_and_an_image_that_is_absent_is(
    tmp_path: Path, data: Path, unisono: Unisono
) -> None:
    (tmp_path / "joint.bin").write_bytes(IMAGE)
    done = sign(unisono, tmp_path / "joint.bin", data, "--output", str(tmp_path / "out"), "--json")
    assert json.loads(done.out)["file"] == str(tmp_path / "out")
    assert (tmp_path / "out").stat().st_size == HEAD + len(IMAGE)
    done = sign(unisono, tmp_path / "absent", data)
    assert (done.code, "absent cannot be read" in done.err) == (2, True)
    done = sign(unisono, tmp_path / "joint.bin", data, "--output", str(tmp_path / "no" / "out"))
    assert (done.code, "cannot be written" in done.err) == (2, True)


@pytest.mark.parametrize("way", ["itself", "symbolic link", "hard link"])
def test_a_signed_file_is_not_written_over_its_program(
    tmp_path: Path, data: Path, unisono: Unisono, way: str
) -> None:
    program, output = tmp_path / "joint.bin", tmp_path / "out"
    program.write_bytes(IMAGE)
    if way == "itself":
        output = program
    elif way == "symbolic link":
        output.symlink_to(program)
    else:
        output.hardlink_to(program)
    done = sign(unisono, program, data, "--output", str(output))
    assert done.code == 2
    assert f"{output} is the program itself" in done.err
    assert program.read_bytes() == IMAGE


def test_only_a_signed_image_is_written_over(
    tmp_path: Path, signed: Path, data: Path, unisono: Unisono
) -> None:
    program, other = tmp_path / "joint.bin", tmp_path / "notes.txt"
    other.write_text("seedlings in tray 3")
    done = sign(unisono, program, data, "--output", str(other))
    assert done.code == 2
    assert f"{other} is there already, and is no signed image" in done.err
    assert other.read_text() == "seedlings in tray 3"
    program.write_bytes(IMAGE + b"of a newer build")
    assert sign(unisono, program, data).code == 0
    assert signed.read_bytes()[HEAD:] == IMAGE + b"of a newer build"


def test_what_is_signed_already_is_not_signed_again(
    tmp_path: Path, signed: Path, data: Path, unisono: Unisono
) -> None:
    done = sign(unisono, signed, data)
    assert done.code == 2
    assert f"{signed} is signed already, as 1.5.0 for bench-joint" in done.err
    assert not (tmp_path / "joint.bin.signed.signed").exists()


# ---- before a stand-in for a coordinator --------------------------------------------------------


class Standing:
    """A coordinator that tells these updates one after another, the last for ever."""

    def __init__(self, *told: Any) -> None:
        self.told = list(told)
        self.asked: list[tuple[str, bytes]] = []

    def __call__(self, path: str, body: bytes) -> Answer:
        path = path.removeprefix("/api/v1")
        self.asked.append((path, body))
        if path.startswith("/control"):
            return 200, {}, json.dumps({"holder": None, "you": "me", "watchers": 0}).encode()
        value = self.told.pop(0) if len(self.told) > 1 else self.told[0]
        if isinstance(value, tuple):
            return value
        return 200, {}, json.dumps(plain(value)).encode()


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(firmware, "LOOK_S", 0.0)


SENDING = replace(UPDATING, phase=UpdatePhase.SENDING, message="sending 1.4.0, 9 of 90 bytes")


def test_an_update_is_followed_to_its_end_with_the_caution_before(
    signed: Path, unisono: Unisono
) -> None:
    coordinator = Standing(UPDATING, SENDING, SENDING, UPDATE)
    with served(coordinator) as url:
        done = unisono("joint", "update", "elbow", str(signed), "--url", url)
    assert done.code == 0, done.err
    assert done.out.endswith("elbow: 1.4.0 confirmed; it was 1.3.2\n")
    assert "support a raised arm" in done.err
    assert coordinator.asked[0] == ("/joints/elbow/update", signed.read_bytes())
    assert coordinator.asked[-1][0] == "/control/release"


def test_what_is_sent_is_what_was_looked_at_whatever_becomes_of_the_file(
    signed: Path, unisono: Unisono, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = signed.read_bytes()

    def read_and_replaced(path: Path, limit: int) -> tuple[bytes, int]:
        found = read_regular(path, limit)
        path.write_bytes(b"another build")
        return found

    monkeypatch.setattr(firmware, "read_regular", read_and_replaced)
    coordinator = Standing(UPDATE)
    with served(coordinator) as url:
        assert unisono("joint", "update", "elbow", str(signed), "--url", url).code == 0
    assert coordinator.asked[0] == ("/joints/elbow/update", first)


WENT_BACK = replace(
    UPDATE,
    phase=UpdatePhase.WENT_BACK,
    message="elbow went back to 1.3.2: the new firmware did not answer",
)


def test_one_that_went_back_is_no_success_and_json_is_what_the_coordinator_said(
    signed: Path, unisono: Unisono
) -> None:
    with served(Standing(UPDATING, WENT_BACK)) as url:
        done = unisono("joint", "update", "elbow", str(signed), "--url", url, "--json")
    assert done.code == 1
    assert json.loads(done.out) == plain(WENT_BACK)
    assert "support a raised arm" in done.err
    assert "went back to 1.3.2" in done.err


def refusal(status: int, code: str, detail: str) -> Answer:
    body = {"type": f"urn:unisono:problem:{code}", "status": status, "detail": detail}
    return status, {"Content-Type": "application/problem+json"}, json.dumps(body).encode()


@pytest.mark.parametrize(
    ("answer", "code"),
    [
        (refusal(409, "energised", "the motor of elbow is on"), 3),
        (refusal(422, "joint-unknown", "there is no joint 'knee'"), 2),
    ],
)
def test_refusals_have_their_exit_code_and_no_caution(
    signed: Path, unisono: Unisono, answer: Answer, code: int
) -> None:
    with served(Standing(answer)) as url:
        done = unisono("joint", "update", "elbow", str(signed), "--url", url)
    assert (done.code, done.out) == (code, "")
    assert json.loads(answer[2])["detail"] in done.err


def test_a_joint_whose_name_is_in_no_address_is_named_as_unknown(
    signed: Path, unisono: Unisono
) -> None:
    nowhere = refusal(404, "not-found", "Not Found")
    with served(Standing(nowhere, ARM | {"joints": [joint("elbow")]})) as url:
        done = unisono("joint", "update", "el/bow", str(signed), "--url", url)
    assert done.code == 2
    assert "there is no joint 'el/bow'; this arm has elbow" in done.err


GONE: Answer = (502, {}, b"")
ANEW = refusal(404, "not-found", "no update of elbow is known")
NOT_KNOWN = "whether it installs is not known"


@pytest.mark.parametrize(
    ("last", "then"),
    [
        (SENDING, f"what came is kept, and does nothing; if it was to install since, {NOT_KNOWN}"),
        (replace(UPDATING, phase=UpdatePhase.INSTALLING), NOT_KNOWN),
        (replace(UPDATING, phase=UpdatePhase.RESTARTING), "it restarts by itself, and goes"),
        (
            replace(UPDATING, phase=UpdatePhase.ON_TRIAL),
            "it goes back where it then hears no drive",
        ),
    ],
    ids=["sending", "installing", "restarting", "on trial"],
)
@pytest.mark.parametrize(("answer", "code"), [(GONE, 4), (ANEW, 1)], ids=["ended", "anew"])
def test_a_coordinator_that_ends_meanwhile_is_told_with_what_becomes_of_the_joint(
    signed: Path, unisono: Unisono, last: Any, then: str, answer: Answer, code: int
) -> None:
    with served(Standing(UPDATING, last, answer)) as url:
        done = unisono("joint", "update", "elbow", str(signed), "--url", url)
    assert done.code == code
    assert f"when it answered last: {last.message}; {then}" in done.err
    assert "'unisono joints' tells which firmware elbow has; then update it again" in done.err


@pytest.fixture(name="pressed")
def ctrl_c_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C comes as soon as it is counted."""
    made = Interrupts.__init__

    def pressed(self: Interrupts) -> None:
        made(self)
        self.press()

    monkeypatch.setattr(Interrupts, "__init__", pressed)


@pytest.mark.usefixtures("pressed")
def test_ctrl_c_cancels(signed: Path, unisono: Unisono) -> None:
    with served(Standing(UPDATING, CANCELLED_UPDATE)) as url:
        done = unisono("joint", "update", "elbow", str(signed), "--url", url)
    assert done.code == 1
    assert "was cancelled" in done.err


@pytest.mark.usefixtures("pressed")
def test_ctrl_c_that_comes_too_late_says_so_and_it_is_followed_on(
    signed: Path, unisono: Unisono
) -> None:
    too_late = refusal(409, "installing", "elbow cannot be kept from it any more")
    with served(Standing(SENDING, too_late, SENDING, UPDATE)) as url:
        done = unisono("joint", "update", "elbow", str(signed), "--url", url)
    assert done.code == 0
    assert "cannot be kept from it any more" in done.err


def test_joints_tells_of_an_update_that_is_under_way_and_of_none_that_is_over(
    unisono: Unisono,
) -> None:
    def coordinator(update: object) -> Callable[[str, bytes], Answer]:
        told = json.dumps(ARM | {"update": plain(update)}).encode()
        return lambda path, body: (200, {"Content-Type": "application/json"}, told)

    with served(coordinator(SENDING)) as url:
        done = unisono("joints", "--url", url)
    assert "elbow is being updated: sending 1.4.0, 9 of 90 bytes" in done.out
    with served(coordinator(UPDATE)) as url:
        assert "being updated" not in unisono("joints", "--url", url).out
