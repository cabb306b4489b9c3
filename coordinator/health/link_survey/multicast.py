"""What a network does with multicasts to a joint: delivers them, keeps them back, loses them.

Joints are found by multicast and commanded by unicast, so nothing of this delays a motion. While a
survey goes on each joint is asked for its address once a second, by one multicast question for all
of them from a port of its own, which it answers straight back by unicast (RFC 6762 §6.7): what is
late or lacks beside the exchanges of drives was late or lost as a multicast. Frames to a group are
sent once, without being repeated, and kept back until a beacon as long as any station of the
network sleeps (IEEE 802.11).

That answers come late is said where half of them surely take `LATE_US` longer than half of the
exchanges: by the lower end of a 95 % interval of their median, by order statistics, which holds for
any distribution. That they lack, by Wilson's interval. How long a joint's firmware takes to answer
is in all of it, and what this computer's firewall does with answers: they come from the joint's own
address, while the question went to the group, so it does not take them for answers (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb
from typing import Final

from coordinator.codes.survey_word import MulticastWord
from coordinator.health.link_survey.loss import wilson
from coordinator.health.link_survey.times import in_ms, nearest_rank
from protocol.constants import US

INTERVAL_US: Final = US
"""Between two questions: RFC 6762 §5.2 asks for a second at least."""
PATIENCE_US: Final = US
"""Within which an answer counts: three beacons of the slowest usual period, and as much again for
the rest."""
LEAST_ASKED: Final = 30
"""Questions without which nothing is told; a survey of 60 s asks twice as many."""
LATE_US: Final = 20_000
"""By which answers are late: a fifth of a beacon's interval, and beyond what a responder takes."""
LOSSY_SHARE: Final = 0.2
"""Of questions and answers, from which on finding a joint takes noticeably longer, where it surely
is more. Multicasts that are lost by the twentieth are usual (RFC 9119 §3.1.1, from memory)."""
_ADDRESS: Final = "give the joint's `address` in the arm file, so that nothing has to find it"
_PASS: Final = f"{_ADDRESS}; or have the access point pass multicasts between radio and cable"
_FIREWALL: Final = (
    "let what comes from UDP port 5353 of the joints in through this computer's firewall, to any "
    "port, and survey once more; if nothing is answered then"
)
_ADVICE: Final = {
    MulticastWord.LOSSY: f"{_ADDRESS}; or have the access point send multicasts as unicasts",
}


class Questions:
    """What one joint was asked by multicast, and when it answered. Times are arm time in µs."""

    def __init__(self) -> None:
        self._asked_us: dict[int, int] = {}
        self._took_us: dict[int, int] = {}

    def asked(self, number: int, at_us: int) -> None:
        """A question was sent."""
        self._asked_us[number] = at_us

    def answered(self, number: int, at_us: int) -> None:
        """It was answered. Copies, and what comes too late or was not asked here, say nothing."""
        asked_us = self._asked_us.get(number)
        if asked_us is not None and 0 <= at_us - asked_us <= PATIENCE_US:
            self._took_us.setdefault(number, at_us - asked_us)

    @property
    def count(self) -> int:
        """So many were asked."""
        return len(self._asked_us)

    @property
    def took_us(self) -> list[int]:
        """How long the answers took, from the shortest."""
        return sorted(self._took_us.values())


@dataclass(frozen=True, slots=True)
class MulticastFigures:
    """What became of a joint's questions by multicast."""

    word: MulticastWord
    message: str
    """The same as a sentence without its end."""
    advice: str
    """What to do about it, so too; empty where nothing is to be done."""
    asked: int
    """Questions."""
    lost: int
    """Of these, which got no answer within a second."""
    loss_low: float | None
    """Share that is lost, 0 to 1: the lower end of its 95 % interval (Wilson) ..."""
    loss_high: float | None
    """... and the upper one; None where nothing was asked."""
    p50_us: int | None
    """From a question to its answer, by nearest rank; None where there was none."""
    p95_us: int | None
    max_us: int | None


def other_answers(every: Sequence[Questions]) -> list[bool | None]:
    """For each of a survey's joints: whether any other answers what it is asked; None where no
    other was asked. What one answers has come in through this computer's firewall.
    """
    found = list[bool | None]()
    for here in range(len(every)):
        others = [one for k, one in enumerate(every) if k != here and one.count]
        found.append(any(one.took_us for one in others) if others else None)
    return found


def multicast_figures(
    questions: Questions,
    exchange_p50_us: int | None,
    exchange_loss_high: float,
    others_answer: bool | None = None,
) -> MulticastFigures:
    """What they say beside the exchanges of drives with the same joint: half of them took so long,
    None where that is not known, and a greater share than that is hardly lost. `others_answer`: by
    `other_answers`.
    """
    took_us, asked = questions.took_us, questions.count
    lost = asked - len(took_us)
    low, high = wilson(lost, asked) if asked else (None, None)
    word = _word(asked, took_us, low, exchange_p50_us, exchange_loss_high)
    share = "" if low is None or high is None else f"{low:.0%} to {high:.0%} by a 95 % interval"
    p50_us, p95_us, max_us = (
        nearest_rank(took_us, rank) if took_us else None for rank in (500, 950, 1000)
    )
    half = f"half of {len(took_us)} answers took {_ms(p50_us)}"
    lacks = f"{lost} of {asked} questions were not answered ({share})"
    more = low is not None and low > exchange_loss_high
    message = {
        MulticastWord.NOT_KNOWN: _why_unknown(asked),
        MulticastWord.NONE: _why_none(asked, others_answer),
        MulticastWord.LOSSY: f"multicasts to it get lost: {lacks}, far more than of its other "
        "messages",
        MulticastWord.LATE: f"multicasts to it are kept back: {half} and longer, half of its other "
        f"round trips {_ms(exchange_p50_us)} and less; access points do so until a beacon as long "
        f"as any station of theirs sleeps; {lacks}"
        f"{', more than of its other messages' if more else ''}",
        MulticastWord.MORE_LOST: "more multicasts to it were lost than of its other messages: "
        f"{lacks}; {half} and less",
        MulticastWord.USUAL: f"multicasts reach it as all else does, as far as {asked} questions "
        f"tell: {half} and less, and {lacks}",
    }[word]
    advice = _ADVICE.get(word, "")
    if word is MulticastWord.NONE:
        advice = _PASS if others_answer else f"{_FIREWALL}, {_PASS}"
    return MulticastFigures(
        word, message, advice, asked, lost, low, high,
        p50_us, p95_us, max_us,
    )  # fmt: skip


def _word(
    asked: int,
    took_us: list[int],
    loss_low: float | None,
    exchange_p50_us: int | None,
    exchange_loss_high: float,
) -> MulticastWord:
    if asked < LEAST_ASKED or exchange_p50_us is None or loss_low is None:
        return MulticastWord.NOT_KNOWN
    if not took_us:
        return MulticastWord.NONE
    if loss_low > max(LOSSY_SHARE, exchange_loss_high):
        return MulticastWord.LOSSY
    late_us = median_low(took_us)
    if late_us is not None and late_us > exchange_p50_us + LATE_US:
        return MulticastWord.LATE
    return MulticastWord.MORE_LOST if loss_low > exchange_loss_high else MulticastWord.USUAL


def _why_none(asked: int, others_answer: bool | None) -> str:
    none = f"it answers nothing that is asked by multicast, none of {asked} questions"
    through = "while its other messages come through"
    network = "the network passes no multicasts, or the joint's firmware answers none"
    if others_answer:
        return (
            f"{none}, {through}: the network passes no multicasts to it, or the joint's firmware "
            "answers none; another joint's answers came in"
        )
    if others_answer is None:
        return (
            f"{none}, {through}: this computer's firewall keeps the answers out, as many do, "
            f"{network}"
        )
    return (
        f"{none}, nor does any other joint of this survey, {through}: most likely this computer's "
        f"firewall keeps the answers out; otherwise {network}"
    )


def _why_unknown(asked: int) -> str:
    if asked >= LEAST_ASKED:
        return "what becomes of multicasts is not known, as too few exchanges were answered"
    if asked == 0:
        return (
            "what becomes of multicasts is not known, as nothing was asked: it was not heard to "
            "announce itself since the coordinator began, or this computer could not send"
        )
    return (
        f"what becomes of multicasts is not known: {asked} questions were asked, and it takes "
        f"{LEAST_ASKED}"
    )


def median_low(ordered: list[int]) -> int | None:
    """The lower end of a 95 % interval of their median; None where they are too few for one.

    The k-th smallest, for the greatest k with which the binomial distribution of n halves has less
    than 2.5 % below it: then the median is below it in no more of all samples.
    """
    count, below = len(ordered), 0
    for k in range(count):
        below += comb(count, k)
        if below > 0.025 * 2**count:
            return ordered[k - 1] if k else None
    return None


def _ms(time_us: int | None) -> str:
    return "–" if time_us is None else in_ms(time_us)
