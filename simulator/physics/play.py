"""Play of a reduction: what its output does while its motor turns."""


class Play:
    """Backlash between motor and output, without friction's creep: the output rests wherever it is
    until one flank or the other takes it along.

    After turning upwards the output lags by half of the width, after turning downwards it leads by
    as much; so positions approached from either side differ by the width, which is the reversal
    value of ISO 230-2 (from memory). All in counts. Raises `ValueError` for a negative width.
    """

    def __init__(self, width: float, motor: float) -> None:
        if width < 0:
            raise ValueError(f"Play is {width} counts wide, but cannot be below 0.")
        self.width = width
        self.output = motor
        """At first in the middle of the play: nobody knows how it was left."""

    def follow(self, motor: float) -> float:
        """The output once the motor stands there, having come without turning round on the way."""
        self.output = self.at(motor)
        return self.output

    def at(self, motor: float) -> float:
        """Where the output would be then; it stays where it is."""
        half = self.width / 2.0
        return min(max(self.output, motor - half), motor + half)
