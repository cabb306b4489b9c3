"""Feeding a part's points into the joints' buffers, ahead of path time and never beyond capacity.

All joints have points at the same path times, so one table of columns serves all. It is made as
it is needed and forgotten once every joint is past it: nothing grows with the program's length.
"""

from bisect import bisect_left
from collections import deque
from collections.abc import Callable
from functools import partial
from typing import Final

from coordinator.core.link.link import JointLink
from coordinator.motion.feeding import PlayedPart
from coordinator.motion.outputs import Switch
from protocol.constants import MAX_POINTS_PER_FRAME
from protocol.messages import Reject
from protocol.points import Point, PointsFrame
from protocol.segments import hermite
from protocol.status import Status

FRAMES_UNDER_WAY: Final = 4
"""More would only queue in the joint's small TCP stack."""
KEPT_BEHIND: Final = 2
"""Points of the segment a joint is in; everything before has been freed by it."""

Send = Callable[[JointLink, PointsFrame, Callable[[Reject | None, int], None], int], None]


class _End:
    """There are no more moves."""


_END: Final = _End()


class _Cursor:
    """How far one joint's stream of points has come."""

    def __init__(self) -> None:
        self.sent = 0
        self.acked = 0
        self.under_way = 0
        self.consumed = 0
        """Index of the oldest point that the joint still needs."""
        self.seen: Status | None = None
        """The status that was looked at last."""
        self.stirred = True
        """Whether anything but the status has changed since."""


class PointFeed:
    """The points of one part on their way into all joints."""

    def __init__(
        self, part: PlayedPart, trajectory: int, links: list[JointLink], send: Send
    ) -> None:
        self.trajectory = trajectory
        self._links = links
        self._send = send
        self._columns: list[tuple[Point, ...]] = [tuple(part.first_points())]
        self._times_us = [self._columns[0][0].time_us]
        """Path time of each column."""
        self._base = 0
        self._moves = iter(part.moves())
        self._cursors = [_Cursor() for _ in links]
        self._part = part
        self._made = 0
        """Moves of the part that were made."""
        self._waits = False
        """Whether the next move is not there yet."""
        self._lines: deque[tuple[int, int, int]] = deque([(0, 0, part.loop)])
        self._switches: deque[tuple[int, Switch]] = deque()
        """With the path time of each."""
        self._switched: dict[str, Switch] = {}
        """The last ones that every joint has left behind."""
        self.end_us: int | None = None
        """Path time of the last point, once it is known."""
        self.failed: tuple[JointLink, Reject] | None = None
        self.buffer_margin_us: dict[str, int] = {}
        """Smallest buffer margin seen for each joint, by name."""

    def step(self, now: int) -> None:
        """Send what fits to the joints of which there is news."""
        news = False
        for link in self._links:
            cursor = self._cursors[link.index]
            if link.up and self.failed is None:
                if not cursor.stirred and cursor.seen is link.status:
                    continue
                cursor.stirred, cursor.seen, news = False, link.status, True
                cursor.consumed = self._consumed(link)
                self._feed(link, now)
        if news:
            self._forget()

    def loaded(self, link: JointLink) -> bool:
        """Whether a joint holds the first window: all its buffer takes, or all there is."""
        cursor = self._cursors[link.index]
        full = cursor.under_way == 0 and cursor.acked > 0 and not self._room(link)
        return full and not self._waits

    def is_told(self, link: JointLink) -> bool:
        """Whether a joint's status knows of all points that it has taken."""
        status = link.status
        return status is not None and status.next_index >= self._cursors[link.index].acked

    @property
    def waits(self) -> bool:
        """Whether the next move is not there yet."""
        return self._waits

    def rewind(self, link: JointLink) -> bool:
        """A new stream in the same session: go on at the index that the joint asks for.

        False when points that it had are gone, so that it cannot go on.
        """
        cursor = self._cursors[link.index]
        welcome = link.welcome
        known = welcome is not None and welcome.trajectory == self.trajectory
        next_index = welcome.next_index if welcome is not None and known else 0
        if next_index < cursor.acked:
            return False
        cursor.under_way = 0
        cursor.sent = cursor.acked = next_index
        cursor.stirred = True
        return True

    def has_all(self, buffered_us: int) -> bool:
        """Whether points up to a path time are all that there are."""
        return self.end_us is not None and buffered_us >= self.end_us

    def line_at(self, path_us: int) -> tuple[int, int]:
        """Line and loop of the program that are played at a path time; line 0 before the first."""
        place = 0, self._part.loop
        for start_us, line, loop in self._lines:
            if start_us > path_us:
                break
            place = line, loop
        return place

    def switched_by(self, path_us: float) -> dict[str, Switch]:
        """The last switch of each output up to a path time that no joint has left behind."""
        found = dict(self._switched)
        for at_us, switch in self._switches:
            if at_us <= path_us:
                found[switch.output.output] = switch
        return found

    def planned_at(self, path_us: float, index: int) -> int | None:
        """Position of a joint at a path time; None where points are not made yet, or gone."""
        columns = self._columns
        if self.end_us is not None:
            path_us = min(path_us, self.end_us)
        after = bisect_left(self._times_us, path_us)
        if after == len(columns) or path_us < self._times_us[0]:
            return None
        if after == 0:
            return columns[0][index].position
        return round(hermite(columns[after - 1][index], columns[after][index], path_us)[0])

    def note_buffer_margin(self, link: JointLink, permit_us: int, ramp_us: int) -> None:
        """Keep the smallest buffer margin: buffer beyond permit and ramp minus the delivery
        time.
        """
        status = link.status
        if status is None or self.has_all(status.buffered_us):
            return
        margin = status.buffered_us - permit_us - ramp_us - link.requests.delivery_p995_us
        self.buffer_margin_us[link.name] = min(self.buffer_margin_us.get(link.name, margin), margin)

    # ---- internals ----------------------------------------------------------------------

    def _capacity(self, link: JointLink) -> int:
        return link.welcome.capabilities.point_capacity if link.welcome else 0

    def _consumed(self, link: JointLink) -> int:
        """Index of the oldest point that the joint still needs."""
        status = link.status
        if status is None or status.trajectory != self.trajectory:
            return 0
        here = bisect_left(self._times_us, status.path_us)
        return max(0, self._base + here - KEPT_BEHIND)

    def _room(self, link: JointLink) -> int:
        """How many more points may be sent to a joint now."""
        cursor = self._cursors[link.index]
        limit = cursor.consumed + self._capacity(link)
        self._make(limit)
        return max(0, min(limit, self._base + len(self._columns)) - cursor.sent)

    def _make(self, limit: int) -> None:
        """Have columns up to an index, or to the end, or as many as there are."""
        self._waits = False
        while self.end_us is None and self._base + len(self._columns) < limit:
            move = next(self._moves, _END)
            if isinstance(move, _End):
                self._waits, self.end_us = False, self._times_us[-1]
                return
            self._waits = move is None
            if move is None:
                return
            self._lines.append((move.start_us, move.line, self._part.loop_of(self._made)))
            self._made += 1
            if move.switch is not None:
                self._switches.append((move.start_us + move.duration_us, move.switch))
            self._columns.extend(zip(*move.points, strict=True))
            self._times_us.extend(point.time_us for point in move.points[0])
            if self._columns[-1][0].last:
                self.end_us = self._times_us[-1]

    def _feed(self, link: JointLink, now: int) -> None:
        cursor = self._cursors[link.index]
        while cursor.under_way < FRAMES_UNDER_WAY:
            count = min(self._room(link), MAX_POINTS_PER_FRAME)
            if count == 0:
                return
            start = cursor.sent - self._base
            points = tuple(self._columns[k][link.index] for k in range(start, start + count))
            frame = PointsFrame(self.trajectory, cursor.sent, points)
            cursor.sent += count
            cursor.under_way += 1
            self._send(link, frame, partial(self._answered, link, cursor.sent), now)

    def _answered(self, link: JointLink, end: int, reject: Reject | None, _now: int) -> None:
        cursor = self._cursors[link.index]
        cursor.under_way = max(0, cursor.under_way - 1)
        cursor.stirred = True
        if reject is None:
            cursor.acked = max(cursor.acked, end)
        elif reject.code != "stream-closed":
            # A full buffer cannot happen within capacity, so every reject is final.
            self.failed = (link, reject)

    def _forget(self) -> None:
        """Drop columns and lines that every joint has left behind."""
        keep = self._cursors[0].consumed
        for cursor in self._cursors:
            keep = min(keep, min(cursor.consumed, cursor.acked))
        drop = min(keep - 1 - self._base, len(self._columns) - KEPT_BEHIND)
        if drop > 0:
            del self._columns[:drop], self._times_us[:drop]
            self._base += drop
        oldest_us = self._times_us[0]
        while len(self._lines) > 1 and self._lines[1][0] <= oldest_us:
            self._lines.popleft()
        while self._switches and self._switches[0][0] <= oldest_us:
            _, switch = self._switches.popleft()
            self._switched[switch.output.output] = switch
