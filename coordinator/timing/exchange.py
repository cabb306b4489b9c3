"""One exchange of datagrams with a joint, and the two limits on its clock's offset that it gives.

The offset is joint time − arm time. Whatever the two ways took, the joint received after the
coordinator sent, and sent before the coordinator received. So joint time was at most T2 when arm
time was T1, and at least T3 when arm time was T4: limits in the sense of Marzullo (1984).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Exchange:
    """The four instants of an NTP exchange (RFC 5905 section 8), in µs.

    T1 (sent) and T4 (reply received) are arm time, T2 (received) and T3 (reply sent) joint time.
    The limits hold only if T1 is read before sending and rounded down, T4 read after receiving
    and rounded up, T2 rounded up and T3 rounded down. T3 may therefore be just before T2.

    Raises ValueError when the reply came before the request was sent.
    """

    t1_us: int
    t2_us: int
    t3_us: int
    t4_us: int

    def __post_init__(self) -> None:
        if self.t4_us < self.t1_us:
            raise ValueError(
                f"an exchange sent at {self.t1_us} µs cannot have been answered at {self.t4_us} µs"
            )

    @property
    def upper_us(self) -> int:
        """The offset was not above this when arm time was T1."""
        return self.t2_us - self.t1_us

    @property
    def lower_us(self) -> int:
        """The offset was not below this when arm time was T4."""
        return self.t3_us - self.t4_us

    @property
    def round_trip_us(self) -> int:
        """Time from sending the request to receiving the reply."""
        return self.t4_us - self.t1_us
