"""Where homing finds the middle of the home sensor, in whole counts.

Both edges are whole counts, as the report has them, so whoever reads it comes to the same middle.
"""


def middle_of(rising: int, falling: int) -> int:
    """The mean of the two slow edges; half a count rounds up."""
    return (rising + falling + 1) // 2


def without_turns(shift: int, counts_per_turn: int) -> int:
    """A shift in counts less whole turns: at least −turn/2, below turn/2."""
    half = counts_per_turn // 2
    return (shift + half) % counts_per_turn - half
