"""An update from the offer to its end: what goes over the stream, and what people are told."""

from collections.abc import Callable

import pytest

from coordinator.codes.level import Level
from coordinator.codes.update_phase import UpdatePhase as P
from coordinator.codes.update_phase import UpdateTrouble, may_be_repeated
from coordinator.core import events as ev
from coordinator.core.condition import condition
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.core.updating.image_feed import FRAMES_UNDER_WAY
from protocol import messages
from protocol.constants import MAX_IMAGE_FRAME_BYTES
from protocol.drive import StopLevel
from protocol.image import ImageFrame
from protocol.light import ConditionWord
from protocol.states import JointState
from tests.coordinator.core.kit import S
from tests.coordinator.core.updating.scripted import (
    BLOCK,
    GOOD_SIGNATURE,
    Bench,
    Firmware,
    ScriptedJoint,
    image_frames,
    signed,
)


def in_phase(bench: Bench, *phases: P) -> Callable[[], bool]:
    return lambda: bench.update.phase in phases


def test_the_image_is_offered_sent_installed_tried_and_confirmed() -> None:
    bench, file = Bench(), signed()
    bench.begin(file)
    told: list[tuple[P, str]] = []

    def noted() -> bool:
        now = bench.update.phase, bench.update.message
        if not told or told[-1][0] is not now[0]:
            told.append(now)
        return now[0].is_over

    bench.until(noted)
    assert [phase for phase, _ in told] == [
        P.OFFERED, P.SENDING, P.INSTALLING, P.RESTARTING, P.ON_TRIAL, P.DONE,
    ]  # fmt: skip
    words = [message for _, message in told]
    assert words[3:] == [
        "restarting with 1.5.0", "1.5.0 is on trial", "base: 1.5.0 confirmed; it was 1.4.0",
    ]  # fmt: skip
    assert bench.joint.runs == Firmware("1.5.0", file.digest)
    assert not bench.joint.on_trial
    assert b"".join(frame.data for frame in image_frames(bench)) == file.image


def test_the_beginning_and_the_end_are_one_line_each_and_the_restart_is_none() -> None:
    bench = Bench()
    bench.run_for(2 * S)
    bench.notes.clear()
    bench.begin()
    bench.over()
    bench.run_for(10 * S)
    # The first line is the command's own, which the shell writes (records/journal.py).
    assert bench.lines() == ["update-done"]
    restarts = [note for note in bench.notes if note.code == "joint-restarted"]
    assert [(note.level, note.message) for note in restarts] == [
        (
            Level.INFO,
            "base restarted in its update and runs 1.5.0, on trial and must be homed again",
        )
    ]
    assert not bench.core.watch.warnings.standing


def test_no_more_frames_than_a_small_stack_takes_are_under_way() -> None:
    bench, waiting, most = Bench(), 0, 0
    handle = bench.core.handle

    def counting(event: ev.Event, now: int) -> None:
        nonlocal waiting
        if isinstance(event, ev.Reported) and isinstance(event.report, messages.Ack):
            waiting -= 1
        handle(event, now)

    bench.core.handle = counting  # type: ignore[method-assign]

    def sends(frame: ev.SendFrame) -> None:
        nonlocal waiting, most
        waiting += 1
        most = max(most, waiting)

    bench.on_frame = sends
    bench.begin(signed(bytes(100_000)))
    bench.over()
    assert most == FRAMES_UNDER_WAY
    assert all(len(frame.data) <= MAX_IMAGE_FRAME_BYTES for frame in image_frames(bench))


def test_a_stream_that_breaks_in_the_middle_goes_on_from_what_the_joint_keeps() -> None:
    bench, file = Bench(), signed(bytes(range(256)) * 200)
    bench.begin(file)
    bench.until(lambda: bench.update.sent_bytes >= 3 * BLOCK)
    bench.cut_power()
    bench.run_for(S // 10)
    assert bench.update.message == "the stream to base broke; 1.5.0 goes on once it is there again"
    before = len(image_frames(bench))
    assert bench.over().phase is P.DONE
    again = image_frames(bench)[before]
    assert again.offset >= 3 * BLOCK
    assert again.offset % BLOCK == 0
    assert bench.joint.runs.sha256 == file.digest


def test_one_that_had_all_of_it_is_sent_nothing_and_installs() -> None:
    bench, file = Bench(), signed()
    bench.joint.header, bench.joint.memory = file.signed, bytearray(file.image)
    bench.begin(file)
    assert bench.over().phase is P.DONE
    assert not image_frames(bench)


def test_what_another_image_left_is_of_no_use() -> None:
    bench, other = Bench(), signed(b"another")
    bench.joint.header, bench.joint.memory = other.signed, bytearray(other.image)
    bench.begin()
    assert bench.over().phase is P.DONE
    assert image_frames(bench)[0].offset == 0


@pytest.mark.parametrize("dead", ["dead_versions", "lost_versions"])
def test_new_firmware_that_does_not_answer_gives_way_to_the_old_one_and_that_is_told(
    dead: str,
) -> None:
    bench = Bench()
    setattr(bench.joint, dead, frozenset({"1.5.0"}))
    bench.begin()
    bench.until(in_phase(bench, P.RESTARTING, P.ON_TRIAL))
    bench.run_for(60 * S)
    assert not bench.core.watch.warnings.standing, "a restart that was asked for is no trouble"
    found = condition(bench.core, bench.now)
    # Never calmer than the truth: it is not heard, so nobody knows what it does.
    assert found.word is ConditionWord.NOT_KNOWN
    assert found.cause.startswith("base is not heard: ")
    update = bench.over()
    assert update.phase is P.WENT_BACK
    assert update.message == "base went back to 1.4.0: the new firmware did not answer"
    assert bench.lines()[-1] == "update-went-back"
    assert bench.joint.runs.version == "1.4.0"


def test_one_that_never_comes_back_is_lost_as_any_other_once_it_was_waited_for() -> None:
    bench = Bench()
    bench.begin()
    bench.until(in_phase(bench, P.RESTARTING))
    bench.joint.lost_versions = frozenset({"1.5.0", "1.4.0"})
    update = bench.over()
    assert (update.phase, update.code) == (P.FAILED, "not-back")
    assert "which firmware runs in it is not known" in update.message
    bench.run_for(10 * S)
    assert [one.joint for one in bench.core.watch.warnings.standing] == ["base"]


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        (lambda joint: setattr(joint, "spoils", True), "image-wrong"),
        (lambda joint: setattr(joint, "state", JointState.JOGGING), "not-at-rest"),
    ],
    ids=["spoils", "moves"],
)
def test_what_a_joint_refuses_in_the_end_is_told_with_its_code_and_sentence(
    wrong: Callable[[ScriptedJoint], None], code: str
) -> None:
    bench = Bench()
    bench.begin()
    bench.until(lambda: bench.update.sent_bytes > 0)
    wrong(bench.joint)
    update = bench.over()
    assert (update.phase, update.code) == (P.FAILED, code)
    assert update.message == f"base does not take 1.5.0: it says {code}"
    assert bench.joint.runs.version == "1.4.0"


def test_a_joint_that_lost_what_it_acknowledged_is_asked_how_much_it_has() -> None:
    bench, file = Bench(), signed(bytes(range(256)) * 400)
    bench.begin(file)
    bench.until(lambda: bench.update.sent_bytes >= 5 * BLOCK)
    bench.joint.memory = bench.joint.memory[:BLOCK]
    bench.until(lambda: bench.update.sent_bytes == BLOCK)

    def is_over() -> bool:
        update = bench.update
        assert update.phase is not P.SENDING or update.sent_bytes <= len(bench.joint.memory)
        return update.phase.is_over

    bench.until(is_over)
    assert bench.update.phase is P.DONE
    installs = [one for _, one in bench.sent if isinstance(one.content, messages.Install)]
    assert len(installs) == 1


def test_one_that_goes_on_losing_it_is_given_up() -> None:
    bench = Bench()

    def loses(frame: ev.SendFrame) -> None:
        if isinstance(frame.content, ImageFrame):
            bench.joint.memory.clear()

    bench.joint.memory.clear()
    bench.on_frame = loses
    bench.begin(signed(bytes(100_000)))
    update = bench.over()
    assert (update.phase, update.code) == (P.FAILED, "image-gap")
    assert bench.now < 60 * S


def test_it_may_be_repeated_only_where_that_can_come_to_more() -> None:
    helps = {
        *("joint-offline", "silent", "stalled", "install-unknown", "image-wrong", "image-store"),
        *("not-at-rest", "energised", "on-trial"),
    }
    told = {str(code) for code in UpdateTrouble} | {
        *("not-at-rest", "energised", "on-trial", "image-board", "image-size", "image-signature"),
        *("image-gap", "image-missing", "image-wrong", "image-store", "message-invalid"),
        "a-code-of-later-firmware",
    }
    assert {code for code in told if may_be_repeated(P.FAILED, code)} == helps
    assert [phase for phase in P if may_be_repeated(phase, "")] == [P.CANCELLED]


def test_a_foreign_signature_is_refused_by_the_joint_and_nothing_is_sent() -> None:
    bench = Bench()
    bench.begin(signed(signature=GOOD_SIGNATURE[::-1][:63] + b"\0"))
    update = bench.over()
    assert (update.phase, update.code) == (P.FAILED, "image-signature")
    assert "sign it with the key by which base was set up" in update.message
    assert "unisono joint image" in update.message
    assert not update.may_be_repeated
    assert not image_frames(bench)


def test_drivers_that_are_switched_on_in_between_end_it_and_what_came_is_kept() -> None:
    bench, file = Bench(), signed(bytes(100_000))
    bench.begin(file)
    bench.until(lambda: bench.update.sent_bytes > 5 * BLOCK)
    bench.joint.energised = True
    update = bench.over()
    assert (update.phase, update.code) == (P.FAILED, "energised")
    assert update.may_be_repeated
    bench.joint.energised = False
    bench.run_for(1 * S)
    before = len(image_frames(bench))
    bench.begin(file)
    assert bench.over().phase is P.DONE
    assert image_frames(bench)[before].offset >= 5 * BLOCK


@pytest.mark.parametrize("phase", [P.OFFERED, P.SENDING, P.INSTALLING])
def test_a_joint_that_answers_no_request_is_given_up(phase: P) -> None:
    bench = Bench()
    bench.joint.answers_requests = phase is not P.OFFERED
    bench.begin()
    if phase is P.SENDING:
        bench.until(lambda: bench.update.sent_bytes > 0)
    bench.until(in_phase(bench, phase))
    bench.joint.answers_requests = False
    if phase is P.INSTALLING:
        bench.break_stream()
        bench.joint.is_there = True
    update = bench.over()
    # Once it was to install, what runs in it must be known before anything is tried again.
    asked_to_install = phase is P.INSTALLING
    code = "install-silent" if asked_to_install else "silent"
    assert (update.phase, update.code) == (P.FAILED, code)
    assert update.message.startswith("base did not answer in time when it was to ")
    assert update.message.endswith("whether it installs is not known") is asked_to_install
    assert update.may_be_repeated is not asked_to_install


def test_one_that_is_gone_for_good_is_given_up() -> None:
    bench = Bench()
    bench.begin()
    bench.until(lambda: bench.update.sent_bytes > 0)
    bench.joint.lost_versions = frozenset({"1.4.0"})
    bench.cut_power()
    update = bench.over()
    assert (update.phase, update.code) == (P.FAILED, "joint-offline")


def test_streams_that_break_at_one_place_for_ever_are_given_up() -> None:
    bench, broken = Bench(), 0

    def breaks(frame: ev.SendFrame) -> None:
        nonlocal broken
        if isinstance(frame.content, ImageFrame):
            broken += 1
            bench.break_stream()

    bench.on_frame = breaks
    bench.begin()
    update = bench.over()
    assert (update.phase, update.code) == (P.FAILED, "stalled")
    assert broken > 10


def test_an_answer_to_install_that_is_lost_is_found_out_by_what_runs_then() -> None:
    bench = Bench()

    def breaks(frame: ev.SendFrame) -> None:
        if isinstance(frame.content, messages.Install):
            bench._after(3_000, bench.break_stream)

    bench.on_frame = breaks
    bench.begin()
    assert bench.over().phase is P.DONE


def test_a_power_cut_before_install_was_taken_is_told_as_not_known() -> None:
    bench = Bench()

    def cuts(frame: ev.SendFrame) -> None:
        if isinstance(frame.content, messages.Install):
            bench.cut_power()

    bench.on_frame = cuts
    bench.begin()
    update = bench.over()
    assert (update.phase, update.code) == (P.FAILED, "install-unknown")
    assert update.message == (
        "base restarted before it said whether it installs 1.5.0, and runs 1.4.0; update it again"
    )


def test_what_is_cancelled_sends_nothing_more_and_is_no_second_line() -> None:
    bench = Bench()
    bench.begin(signed(bytes(100_000)))
    bench.until(lambda: bench.update.sent_bytes > 3 * BLOCK)
    bench.command(ev.CancelUpdate("base"))
    update, before = bench.update, len(bench.sent)
    assert update.phase is P.CANCELLED
    assert "is kept, and does nothing" in update.message
    bench.run_for(20 * S)
    assert len(bench.sent) == before
    assert bench.joint.runs.version == "1.4.0"
    assert "update-cancelled" not in bench.lines()


def test_once_it_is_to_install_it_cannot_be_cancelled() -> None:
    bench = Bench()
    bench.begin()
    bench.until(in_phase(bench, P.INSTALLING))
    assert not bench.update.may_be_cancelled
    with pytest.raises(ev.Refused) as refused:
        bench.command(ev.CancelUpdate("base"))
    assert refused.value.code == "installing"
    assert bench.over().phase is P.DONE


@pytest.mark.parametrize("name", ["base", "middle"])
def test_what_is_not_under_way_cannot_be_cancelled(name: str) -> None:
    bench = Bench()
    if name == "middle":
        bench.begin()
    with pytest.raises(ev.Refused) as refused:
        bench.command(ev.CancelUpdate(name))
    assert refused.value.code == "no-update"


def test_a_stop_goes_out_at_once_in_the_middle_of_it() -> None:
    bench = Bench()
    bench.begin(signed(bytes(100_000)))
    bench.until(in_phase(bench, P.SENDING))
    now = bench.now
    bench.core.command(ev.Stop(StopLevel.STOP), now)
    drives = [one.drive for one in bench.core.poll(now) if isinstance(one, ev.SendDrive)]
    assert [drive.stop for drive in drives] == [StopLevel.STOP] * 2


def test_a_session_that_ends_costs_time_and_nothing_else() -> None:
    bench = Bench()
    bench.begin(signed(bytes(100_000)))
    bench.until(lambda: bench.update.sent_bytes > 3 * BLOCK)
    bench.break_stream()
    bench.core.handle(ev.HostSlept(5 * S, 0x52), bench.now)
    bench.joint.sequence = bench.joints[bench.core.links[1].id].sequence = 0
    assert bench.over().phase is P.DONE


def test_a_coordinator_that_ends_says_what_the_joint_does_by_itself() -> None:
    bench = Bench()
    bench.begin()
    bench.until(in_phase(bench, P.RESTARTING))
    bench.core.updates.end(bench.now)
    assert (bench.update.phase, bench.update.code) == (P.FAILED, "ending")
    assert "goes back where it then hears no drive" in bench.update.message


def test_each_joint_tells_its_image_and_whether_it_is_on_trial() -> None:
    bench, file = Bench(), signed()
    bench.joint.dead_versions = frozenset({"1.5.0"})
    first = arm_snapshot(bench.core, bench.now).joints[0]
    assert (first.firmware, first.image, first.on_trial) == ("1.4.0", None, False)
    assert (first.board, first.image_capacity_bytes) == ("bench-joint", 1_900_544)
    bench.begin(file)
    bench.until(in_phase(bench, P.ON_TRIAL))
    tried = arm_snapshot(bench.core, bench.now).joints[0]
    assert (tried.firmware, tried.image, tried.on_trial) == ("1.5.0", file.digest, True)
    bench.joint.dead_versions = frozenset()
    bench.over()
    assert arm_snapshot(bench.core, bench.now).joints[0].on_trial is False
