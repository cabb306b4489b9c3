"""Every exchange of one joint while it is surveyed."""

from itertools import groupby

from coordinator.timing.exchange import Exchange


class Exchanges:
    """What was sent to one joint, and what came back. Times are arm time in µs."""

    def __init__(self) -> None:
        self._sent_us: dict[int, int] = {}
        """By the drives' sequence numbers, in the order of sending."""
        self._answers: dict[int, Exchange] = {}
        self.restarted = False
        """Whether the joint restarted meanwhile: its clock is another one then."""

    def sent(self, sequence: int, at_us: int) -> None:
        """An exchange was sent."""
        self._sent_us[sequence] = at_us

    def answered(self, sequence: int, exchange: Exchange) -> None:
        """It was answered; copies, and answers to what was sent before the survey, say nothing."""
        if sequence in self._sent_us:
            self._answers.setdefault(sequence, exchange)

    @property
    def count(self) -> int:
        """So many were sent."""
        return len(self._sent_us)

    @property
    def answers(self) -> list[Exchange]:
        """Those that were answered, in the order of sending."""
        return [self._answers[one] for one in self._sent_us if one in self._answers]

    @property
    def lost(self) -> int:
        """So many were not answered."""
        return self.count - len(self._answers)

    def longest_loss(self) -> tuple[int, int]:
        """The most exchanges in a row that were not answered; and the longest time from the first
        of such a row to the next one that was, or to the last one sent.
        """
        most = longest_us = 0
        rows = [(one in self._answers, at_us) for one, at_us in self._sent_us.items()]
        since_us: int | None = None
        for answered, group in groupby(rows, key=lambda row: row[0]):
            times_us = [at_us for _, at_us in group]
            if answered:
                if since_us is not None:
                    longest_us = max(longest_us, times_us[0] - since_us)
                since_us = None
            else:
                since_us, most = times_us[0], max(most, len(times_us))
                longest_us = max(longest_us, times_us[-1] - since_us)
        return most, longest_us
