"""One joint in C: its block of memory, and what may be done with it. Joint times are µs."""

import ctypes
from ctypes import c_int64
from typing import Any

from tests.campaign.joints_in_c.library import (
    ANSWER_BYTES,
    CLOSE,
    DATAGRAM_BYTES,
    FRAME_BYTES,
    KEY_BYTES,
    LIMITS,
    NO_TEMPERATURE,
    TEXT,
    TRUTHS,
    ConfigurationSeen,
    Now,
    PointSeen,
    Seen,
    Settings,
    TruthSeen,
    library,
)

_ANSWER = ctypes.create_string_buffer(ANSWER_BYTES)
_SEALED = ctypes.create_string_buffer(DATAGRAM_BYTES)
_FRAME = ctypes.create_string_buffer(FRAME_BYTES)
_WHAT = (c_int64 * 2)()
_TRUTHS = (TruthSeen * TRUTHS)()


class Core:
    """The block. A copy of it (`copy.deepcopy`) goes on by itself."""

    def __init__(self) -> None:
        self._calls = library()
        self._memory = ctypes.create_string_buffer(self._calls.played_size())
        self._at = ctypes.addressof(self._memory)
        assert self._at % ctypes.sizeof(c_int64) == 0
        self.now = Now.from_buffer(self._memory)
        self.seen = Seen.from_buffer(self._memory, ctypes.sizeof(Now))

    def __deepcopy__(self, memo: dict[int, Any]) -> "Core":
        other = Core()
        ctypes.memmove(other._at, self._at, len(self._memory))
        self._calls.played_moved(other._at, self._at)
        return other

    def begin(self, settings: Settings, now: float) -> None:
        """Begin a boot."""
        self._calls.played_begin(self._at, settings, now)

    # ---- what goes in -------------------------------------------------------------------------

    def run(self, now: float) -> None:
        """Time passes."""
        self._calls.played_run(self._at, now)

    def opened(self, stream_id: int, now: float) -> None:
        """A peer connected."""
        self._calls.played_opened(self._at, now, stream_id, 0)

    def frame(self, stream_id: int, data: str | bytes, now: float, nonce: bytes) -> None:
        """A whole message came."""
        text = isinstance(data, str)
        raw = data.encode() if isinstance(data, str) else data
        self._calls.played_frame(self._at, now, stream_id, text, raw, len(raw), nonce)

    def closed(self, stream_id: int, now: float) -> None:
        """A connection is gone."""
        self._calls.played_closed(self._at, now, stream_id)

    def datagram(self, data: bytes, now: float) -> tuple[int, bytes]:
        """Length of the answer, 0 for none; and the answer, which `seal` makes ready to be sent."""
        length: int = self._calls.played_datagram(self._at, now, data, len(data), _ANSWER)
        return length, _ANSWER.raw if length else b""

    def seal(self, answer: bytes, now: float) -> bytes:
        """The answer, sent now."""
        length: int = self._calls.played_seal(self._at, answer, now, _SEALED)
        return _SEALED.raw[:length]

    def hall(self, level: bool, now: float) -> None:
        """The home sensor shows this level."""
        self._calls.played_hall(self._at, now, level)

    def inputs(self, bits: int, now: float) -> None:
        """The inputs read so."""
        self._calls.played_inputs(self._at, now, bits)

    def sense(self, centi_c: int | None, supply_mv: int | None, rssi: int, now: float) -> None:
        """Readings, None where there is none."""
        temperature = NO_TEMPERATURE if centi_c is None else centi_c
        supply = -1 if supply_mv is None else supply_mv
        self._calls.played_sense(self._at, now, temperature, supply, rssi)

    def driver_fault(self, now: float) -> None:
        """The driver reports a fault, and at once no more."""
        self._calls.played_driver_fault(self._at, now)

    def touch(self, turn: int, presses: int, long_presses: int) -> None:
        """The touch control has counted so."""
        self._calls.played_touch(self._at, turn, presses, long_presses)

    # ---- what comes out -----------------------------------------------------------------------

    def messages(self) -> tuple[list[tuple[int, str | bytes]], list[int]]:
        """Frames that are to be sent, by stream, and streams that are to be closed."""
        frames: list[tuple[int, str | bytes]] = []
        close: list[int] = []
        now = self.now
        while now.messages:
            length = self._calls.played_take(self._at, _WHAT, _FRAME)
            stream_id, kind = _WHAT
            if kind == CLOSE:
                close.append(stream_id)
            else:
                raw = ctypes.string_at(_FRAME, length)
                frames.append((stream_id, raw.decode() if kind == TEXT else raw))
        if now.crowded:
            raise RuntimeError("a joint in C said more at once than played.h has room for")
        return frames, close

    def truths(self) -> list[TruthSeen]:
        """Truths since the last call; they hold until the next."""
        return _TRUTHS[: self._calls.played_truths(self._at, _TRUTHS)]

    # ---- what it is ---------------------------------------------------------------------------

    def points(self, first: int, end: int) -> list[PointSeen]:
        """Points by their indices, which are in its buffer."""
        found = (PointSeen * (end - first))()
        self._calls.played_points(self._at, first, end, found)
        return list(found)

    def configuration(self) -> tuple[str, dict[str, int], list[tuple[int, int]]]:
        """Name, fields and rows of the ramp."""
        found = ConfigurationSeen()
        self._calls.played_configuration(self._at, found)
        fields: dict[str, int] = {name: getattr(found, name) for name in LIMITS}
        rows = [(row[0], row[1]) for row in found.ramp[: fields["ramp_rows"]]]
        return found.name.decode(), fields, rows

    def lamp(self, now: float) -> int:
        """The number of the word that its light shows."""
        word: int = self._calls.played_lamp(self._at, now)
        return word

    def keys(self) -> tuple[bytes, bytes] | None:
        """The keys of datagrams to it and from it, None before there are any."""
        one, other = (ctypes.create_string_buffer(KEY_BYTES) for _ in range(2))
        return (one.raw, other.raw) if self._calls.played_keys(self._at, one, other) else None
