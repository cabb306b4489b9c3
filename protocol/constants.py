"""Every number both ends agree on, with its unit and its reason."""

from typing import Final

PROTOCOL_VERSION: Final = 1
SUBPROTOCOL: Final = "unisono.joint.v1"
SERVICE_TYPE: Final = "_unisono-joint._tcp.local."
STREAM_PATH: Final = "/joint"

PPM: Final = 1_000_000
US: Final = 1_000_000
COUNTS_PER_MICROSTEP: Final = 256
"""Positions are microsteps × 256, so that a cubic is reproduced to well under one step."""

# Rates of exchange (design section 3).
ACTIVE_INTERVAL_US: Final = 40_000
"""25 Hz: while anything is prepared or moves, and until a link is measured."""
IDLE_INTERVAL_US: Final = 200_000
"""5 Hz otherwise."""

EXPIRY_US: Final = 250_000
"""Life of a permission to jog, home or advance, from its sending (design section 3)."""
SILENCE_US: Final = 1_500_000
"""A joint that hears no valid datagram for this long holds (design section 5)."""
RELEASE_SESSION_US: Final = 5_000_000
"""Silence after which a joint at rest accepts a coordinator with another id (design section 3)."""
CURRENT_SETTLE_US: Final = 100_000
"""From a motor's full current to its first motion: its rotor swings into place, and a stepper's
swing has died away after a tenth of a second (common practice)."""
FIRST_PERMIT_US: Final = 100_000
"""Path time a joint may cover before all have echoed the start (design section 4)."""
SLEW_PPM: Final = 200
"""Rate at which a moving joint bleeds off the difference to an older map (design section 2)."""
REMAINDER_LIMIT_US: Final = 5_000
"""A larger difference between maps means that one of them was wrong: hold (design section 2)."""
EDGE_TIMING_US: Final = 100
"""How far from its instant a joint may see the home sensor switch: an interrupt and its jitter."""
BOUNCE_PER_TURN: Final = 3_600
"""Parts of a turn of the output: within one, 0.1°, of where it began to switch a home sensor may
bounce. Far beyond a sensor's noise, and far within the windows of magnets."""

# The ramp (design section 5).
ACCELERATION_SHARE: Final = 0.8
"""Share of a joint's acceleration that a plan may use; the rest belongs to the ramp."""
RATE_MIN_PPM: Final = 50_000
RATE_MAX_PPM: Final = 1_000_000
"""Feed override, 5 to 100 %."""
ADVANCE_RATE_PPM: Final = 50_000
"""Rate along the path at which a joint behind the others catches up before a resume."""

# How exact a joint must be, and what that may cost nobody anything.
PATH_ERROR_US: Final = 0.5
"""Permitted error of a path time that a joint computes: what 32-bit controllers reach with ease."""
CLOCK_ERROR_US: Final = 1
"""The same of its arm clock and of the instants that it tells: most count whole µs."""
PATH_TOLERANCE_US: Final = 2
"""Two joints that compute one path time each within its error, and round it, are no further apart:
two errors and two halves."""

# Limits on what either end reads, so that noise costs nothing.
MAX_DATAGRAM_BYTES: Final = 512
MAX_FRAME_BYTES: Final = 4_096
"""Of a message on the stream: the largest, 128 points, has 3,112. A controller with 320 kB of
memory can keep some of them."""
MAX_OPENING_BYTES: Final = 512
"""Of what a joint reads before the proof: a stranger gets no more of its memory."""
MAX_POINTS_PER_FRAME: Final = 128
"""128 points make a frame of about 3 kB: three TCP segments, little for a small stack."""
MAX_INTEGER: Final = 2**53 - 1
"""Magnitude of every number: what a JSON reader that uses doubles keeps exactly (RFC 7493 §2.2)."""
TRIAL_US: Final = 120_000_000
"""From boot: an image that no drive has confirmed by then gives way to the one before."""
MAX_IMAGE_FRAME_BYTES: Final = 2_048
"""Of an image in one frame: two TCP segments, and whole pages of any flash memory."""
HANDSHAKE_TIMEOUT_US: Final = 5_000_000
