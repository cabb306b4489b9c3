"""The largest message of each kind, as memory must be laid out for it.

Written without spaces, all texts at their full length in ASCII; the head of a frame is counted.
"""

from typing import Final

from pydantic import BaseModel

from protocol import messages
from protocol.configuration import MAX_RAMP_US, Configuration, Homing, IdleCurrent, OutputsOff
from protocol.constants import MAX_IMAGE_FRAME_BYTES, MAX_INTEGER, MAX_POINTS_PER_FRAME
from protocol.frames import HEAD_BYTES
from protocol.image import ImageFrame, encode_image_frame
from protocol.points import Point, PointsFrame, encode_points

_U32, _I31 = 2**32 - 1, 2**31 - 1
_HEX32, _WORD, _SENTENCE = "f" * 64, "x" * 32, "x" * messages.MAX_SENTENCE
_EDGES = [messages.Edge(position=-MAX_INTEGER, rising=False, fast=False)] * messages.MAX_EDGES

CONFIGURATION: Final = Configuration(
    name="n" * 32,
    counts_per_turn=MAX_INTEGER,
    full_step=_I31,
    range_low=-MAX_INTEGER,
    range_high=MAX_INTEGER,
    velocity=_I31,
    acceleration=2**40,
    jog_unhomed=_I31,
    homing=Homing(
        direction=-1,
        travel=MAX_INTEGER,
        backoff=MAX_INTEGER,
        fast=_I31,
        slow=_I31,
        home=-MAX_INTEGER,
    ),
    # All figures as long as they can be.
    ramp=[(0, 0), *((10_000_000 + 300_000 * k, 100_000 + 14_000 * k) for k in range(62)),
          (MAX_RAMP_US, 1_000_000)],
    temperature_limit_centi_c=15_000,
    supply_limit_mv=60_000,
    run_current_ma=10_000,
    hold_current_ma=10_000,
    outputs_off=OutputsOff(on_hold=255, on_stop=255, on_lost=255),
    idle_current=IdleCurrent(after_ms=86_400_000, current_ma=10_000),
)  # fmt: skip
OPENINGS: Final[tuple[BaseModel, ...]] = (
    messages.Hello(protocol=65_535, coordinator="f" * 32, session="f" * 16, nonce=_HEX32),
    messages.Welcome(
        id="f" * 12, firmware=_WORD, boot=_U32, nonce=_HEX32, proof=_HEX32, udp=65_535,
        capabilities=messages.Capabilities(
            point_capacity=_I31, max_step_rate_hz=_I31, sensors=["x" * 16] * 8, inputs=8, outputs=8,
            idle_current=False, board="x" * 16, image_capacity=_I31,
        ),
        configuration=_HEX32, keyed=_HEX32, trajectory=_U32, next_index=_U32, image=_HEX32,
        on_trial=False,
    ),
    messages.Proof(proof=_HEX32),
)  # fmt: skip
FRAMED: Final[tuple[BaseModel, ...]] = (
    messages.Configure(configuration=CONFIGURATION),
    messages.Prepare(trajectory=_U32),
    messages.Discard(),
    messages.Clear(),
    messages.Blink(seconds=60),
    messages.Update(header="f" * 200, signature="f" * 128),
    messages.Install(),
    messages.Ack(ref=MAX_INTEGER),
    messages.Reject(ref=MAX_INTEGER, code=_WORD, message=_SENTENCE),
    messages.Homed(
        at_us=-MAX_INTEGER, homing_number=_U32, edges=_EDGES, middle=-MAX_INTEGER,
        shift=-MAX_INTEGER, lost=-MAX_INTEGER,
    ),
    messages.HomingFailed(
        at_us=-MAX_INTEGER, homing_number=_U32, message=_SENTENCE, edges=_EDGES
    ),
    messages.Started(
        trajectory=_U32, plan=_U32, path_us=-MAX_INTEGER, permission_us=-MAX_INTEGER,
        start_us=-MAX_INTEGER,
    ),
    messages.Finished(trajectory=_U32, at_us=-MAX_INTEGER, position=-MAX_INTEGER),
    messages.Held(
        trajectory=_U32, at_us=-MAX_INTEGER, path_us=-MAX_INTEGER, ramp_began_us=-MAX_INTEGER,
        cause=_WORD,
    ),
    messages.Stopped(at_us=-MAX_INTEGER, level=3, position=-MAX_INTEGER),
    messages.Faulted(at_us=-MAX_INTEGER, fault=_WORD, message=_SENTENCE),
    messages.Updating(image=_HEX32, received=_I31),
)  # fmt: skip
IMAGE: Final = ImageFrame(0, bytes(MAX_IMAGE_FRAME_BYTES))
POINTS: Final = PointsFrame(1, 0, (Point(0, 0, 0),) * MAX_POINTS_PER_FRAME)


def sizes() -> dict[str, int]:
    """Bytes of the largest message of each kind, with the head of its frame."""
    found = {messages.schema_name(type(one)): len(messages.encode(one)) for one in OPENINGS}
    found |= {
        messages.schema_name(type(one)): HEAD_BYTES + len(messages.encode(one)) for one in FRAMED
    }
    return found | {
        "points": HEAD_BYTES + len(encode_points(POINTS)),
        "image": HEAD_BYTES + len(encode_image_frame(IMAGE)),
    }
