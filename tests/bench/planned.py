"""Where the joints are to be by a plan, for whoever compares that with where they truly were."""

from collections.abc import Iterator

from coordinator.motion import Part
from protocol.points import Point
from protocol.segments import hermite


class PlannedPart:
    """One part of a program. It is asked by rising path time, so nothing of it is kept."""

    def __init__(self, part: Part) -> None:
        self._columns = self._points(part)
        self._before = self._after = next(self._columns)

    @staticmethod
    def _points(part: Part) -> Iterator[tuple[Point, ...]]:
        yield part.first_points()
        for move in part.moves():
            yield from zip(*move.points, strict=True)

    def counts(self, path_us: float) -> list[float]:
        """Each joint's position at a path time, unrounded; where the part ends from there on."""
        if path_us < self._before[0].time_us:
            raise ValueError(f"path time {path_us} µs was left behind")
        while self._after[0].time_us < path_us:
            following = next(self._columns, None)
            if following is None:
                return [float(point.position) for point in self._after]
            self._before, self._after = self._after, following
        if self._before is self._after:
            return [float(point.position) for point in self._after]
        pairs = zip(self._before, self._after, strict=True)
        return [hermite(before, after, path_us)[0] for before, after in pairs]


def switches(part: Part) -> list[tuple[int, int, int, int]]:
    """Where a part switches outputs: path time in µs, the joint's index, mask and values."""
    return [
        (point.time_us, joint, point.output_mask, point.output_values)
        for move in part.moves()
        for column in zip(*move.points, strict=True)
        for joint, point in enumerate(column)
        if point.output_mask
    ]
