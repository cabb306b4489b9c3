"""Why a command is refused."""

from enum import StrEnum
from typing import Final, Self


class RefusalCode(StrEnum):
    """Stable, for programs; `says` is what it means, a sentence."""

    says: str

    def __new__(cls, code: str, says: str) -> Self:
        """A code and its sentence."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.says = says
        return member

    JOINT_UNKNOWN = "joint-unknown", "No joint has that name."
    OUTPUT_UNKNOWN = "output-unknown", "No joint has that output or input."
    JOG_SPEED = "jog-speed", "Faster than the joint's limit."
    OVERRIDE_RANGE = "override-range", "An override that is not possible."
    PROGRAM_EMPTY = "program-empty", "The program moves nothing."
    PROGRAM_TOO_LARGE = "program-too-large", "The program has too many bytes."
    TEXT_UNCLEAR = "text-unclear", "A program's text is not UTF-8."
    STOP_LEVEL = "stop-level", "There is no such level of stop."
    CONTROL = "control", "Another client commands motion: `POST /control/take` takes over."
    RUNNING = "running", "A program is being played."
    HOMING = "homing", "A homing is under way."
    HELD_ONLY = "held-only", "The arm file has a joint home only while a control is held."
    JOGGING = "jogging", "A joint is being jogged."
    STEPS = "steps", "Too many steps of a joint are under way."
    STEP_ANGLE = "step-angle", "A step by less than a joint can turn."
    STEP_RANGE = "step-range", "A step beyond the joint's range."
    JOG_ENDED = "jog-ended", "The jog was ended; let go before the next."
    STOPPING = "stopping", "A joint has not confirmed the stop yet."
    NO_RUN = "no-run", "No program is being played."
    NOT_HELD = "not-held", "The run, or a joint in it, is not at rest on the path."
    OUTPUT = "output", "An output is not as the program left it."
    NOTHING_MOVES = "nothing-moves", "There is nothing to hold."
    HALTED = "halted", "A hold or stop came before the run began."
    LEFT = "left", "Whoever asked for the run has gone."
    MOVED = "moved", "A joint moved while the program was being planned."
    JOINT_CONFLICT = "joint-conflict", "Two joints prove one id."
    JOINT_NOT_CONFIGURED = "joint-not-configured", "A joint does not know its figures yet."
    JOINT_OFFLINE = "joint-offline", "A joint is not heard, or its stream is not open."
    NOT_AT_REST = "not-at-rest", "A joint moves."
    EDGES = "edges", "The home edge of a joint cannot be checked between loops."
    NOT_HOMED = "not-homed", "A joint is not homed."
    HOME_WANDERED = (
        "home-wandered",
        "Home of a joint is elsewhere than it was: somebody must look, and accept it.",
    )
    NOT_SHELVABLE = "not-shelvable", "An alarm of that priority is never shelved."
    NOTHING_TO_ACCEPT = "nothing-to-accept", "Home of that joint has not wandered."
    FAULTED = "faulted", "A joint has a fault."
    CLOCK_UNCERTAIN = (
        "clock-uncertain",
        "Too little is known of the clocks for a start, or a permission to move, within the limit.",
    )
    CLOCK_UNLOCKED = "clock-unlocked", "A joint's clock is not known well enough."
    TEMPERATURE_IMPLAUSIBLE = "temperature-implausible", "A joint's temperature cannot be believed."
    WAYPOINT_UNKNOWN = "waypoint-unknown", "There is no such waypoint, or it lacks a joint."
    POSE_UNKNOWN = "pose-unknown", "The arm file has no such pose."
    TAUGHT_CHANGED = "taught-changed", "Somebody else has changed what was taught meanwhile."
    NOTHING_TO_UNDO = "nothing-to-undo", "No change of what was taught is left to take back."
    NOTHING_TO_REDO = "nothing-to-redo", "No change of what was taught was taken back last."
    QUEUE_ENTRY_UNKNOWN = "queue-entry-unknown", "There is no such entry in the queue."
    QUEUE_CHANGED = "queue-changed", "Somebody else has changed the queue meanwhile."
    QUEUE_PLAYING = "queue-playing", "The queue is being played: what is asked must wait for it."
    QUEUE_EMPTY = "queue-empty", "The queue has no entry."
    QUEUE_FULL = "queue-full", "The queue has as many entries as it may have."
    TEXT_GONE = "text-gone", "The text was sent, but another one has come since: send it again."
    REHEARSING = "rehearsing", "Another rehearsal goes on."
    PLANNER = "planner", "The process that checks programs ended; try again."
    UPDATING = "updating", "A joint's firmware is being updated: what would move must wait."
    NO_UPDATE = "no-update", "No update of that joint is under way."
    INSTALLING = "installing", "The joint is to install the image already: too late to cancel."
    ENERGISED = "energised", "The joint's motor is on."
    NO_IMAGES = "no-images", "The joint takes no firmware over the air."
    IMAGE_UNCLEAR = "image-unclear", "The file is no signed image, or not a whole one."
    IMAGE_BOARD = "image-board", "The image is for another board."
    IMAGE_SIZE = "image-size", "The image is larger than the joint has room for."
    IMAGE_RUNS = "image-runs", "The joint runs this very image already."
    SURVEYING = "surveying", "Links are being surveyed already."
    NO_SURVEY = "no-survey", "No survey of links is under way."
    ARM_FILE_CHANGED = (
        "arm-file-changed",
        "The arm file is another than the one that was read: read it again.",
    )
    ARM_FILE_KEPT = "arm-file-kept", "That arm file is a part of the program, and stays as it is."
    ARM_FILE_DISK = "arm-file-disk", "The arm file cannot be read or written."
    BRING_UP_EARLIER = "bring-up-earlier", "An earlier step of the bring-up is to be done first."
    BRING_UP_INPUT = (
        "bring-up-input", "A step of the bring-up does not take such an answer or such angles."
    )  # fmt: skip
    BRING_UP_NOT_SO = "bring-up-not-so", "What the step of the bring-up asks for is not so."
    ENDING = "ending", "The coordinator is ending."
    FAILED = "failed", "The coordinator broke: see its log, then start it anew."


INPUT_CODES: Final = frozenset(
    {
        RefusalCode.JOINT_UNKNOWN,
        RefusalCode.OUTPUT_UNKNOWN,
        RefusalCode.JOG_SPEED,
        RefusalCode.STEP_ANGLE,
        RefusalCode.OVERRIDE_RANGE,
        RefusalCode.PROGRAM_EMPTY,
        RefusalCode.PROGRAM_TOO_LARGE,
        RefusalCode.TEXT_UNCLEAR,
        RefusalCode.STOP_LEVEL,
        RefusalCode.QUEUE_ENTRY_UNKNOWN,
        RefusalCode.POSE_UNKNOWN,
        RefusalCode.BRING_UP_INPUT,
        RefusalCode.IMAGE_UNCLEAR,
        RefusalCode.IMAGE_BOARD,
        RefusalCode.IMAGE_SIZE,
    }
)
"""What is refused because it asks for what cannot be; all else may change."""
