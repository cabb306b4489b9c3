"""What is wrong with a surveyed link, and what to do about it: sentences for people."""

from dataclasses import dataclass
from typing import Final

from coordinator.codes.survey_word import LinkFault, LinkVerdict
from coordinator.health.link import LOSSY_SHARE
from coordinator.health.link_survey.multicast import MulticastFigures
from coordinator.health.link_survey.power_save import PowerSave
from coordinator.health.link_survey.times import in_ms
from coordinator.health.link_survey.ways import Ways
from coordinator.health.lopsided import LEAST_US, SHARE
from coordinator.timing.start_delay import START_DELAY_MAX_US

LOSS_SHARE: Final = 0.05
"""Lost exchanges from which something should be done, where it surely is more: of 25 a second two
in a row then fail every 16 s."""
LONG_US: Final = 20_000
"""Of the middle round trip: a station beside its access point takes 1 to 5 ms (arduino-esp32 issue
3816), so that every message is kept up."""
CROWDED_US: Final = 100_000
"""Of a round trip in a hundred."""
CROWDED_TIMES: Final = 10
"""Such a round trip is longer than the middle one: now and then it waits for others."""
NEARER: Final = "bring access point and arm nearer together, or use another channel"


@dataclass(frozen=True, slots=True)
class LinkFinding:
    """One thing that is wrong with a link."""

    code: LinkFault
    message: str
    """What is so, with its figures, a sentence without its end."""
    advice: str
    """What to do about it, so too."""


@dataclass(frozen=True, slots=True)
class RoundTrips:
    """What is judged of the exchanges themselves."""

    answered: int
    p50_us: int
    p99_us: int
    sent: int
    lost: int
    loss_low: float
    loss_high: float
    start_delay_us: int
    """That a start would need with this link at its worst in the survey."""


def findings(
    trips: RoundTrips, found: Ways | None, sleeps: PowerSave | None
) -> tuple[LinkFinding, ...]:
    """All that is wrong with a link. Delays that a radio's sleep explains are told as that."""
    asleep = _asleep(trips, sleeps)
    delays = (asleep,) if asleep else (_long(trips), _crowded(trips), _lopsided(trips, found))
    made = (*delays, _lossy(trips), _start(trips))
    return tuple(one for one in made if one is not None)


def multicast_lost(multicast: MulticastFigures) -> tuple[LinkFinding, ...]:
    """Where joints are hardly found, or not at all; what is only kept back needs nothing."""
    if not multicast.advice:
        return ()
    return (LinkFinding(LinkFault.MULTICAST, multicast.message, multicast.advice),)


def clock_unknown(*, restarted: bool) -> LinkFinding:
    """Its clock is not known, so less was looked at than of others."""
    why = (
        "it restarted meanwhile"
        if restarted
        else "its clock does not keep to one rate, as where it is stepped"
    )
    advice = "find out why, its supply and its plugs first" if restarted else "switch it off and on"
    return LinkFinding(
        LinkFault.CLOCK,
        f"{why}: its clock, power save of its radio and a way that is longer than the other were "
        "not looked for",
        f"{advice}; then survey it once more",
    )


def verdict(found: tuple[LinkFinding, ...], loss_low: float) -> LinkVerdict:
    """All of it in a word or two."""
    if any(one.code is LinkFault.START for one in found) or loss_low > LOSSY_SHARE:
        return LinkVerdict.POOR
    return LinkVerdict.USABLE if found else LinkVerdict.GOOD


def _asleep(trips: RoundTrips, sleeps: PowerSave | None) -> LinkFinding | None:
    if sleeps is None or not sleeps.found:
        return None
    return LinkFinding(
        LinkFault.POWER_SAVE,
        "power save is on in this joint's firmware: what is sent to it waits for a beacon, each "
        f"{sleeps.interval_us / 1e3:.1f} ms, and round trips reach {in_ms(trips.p99_us)} "
        f"({trips.answered} exchanges)",
        "switch power save of its radio off in the firmware, so that it listens always",
    )


def _long(trips: RoundTrips) -> LinkFinding | None:
    if trips.p50_us < LONG_US:
        return None
    return LinkFinding(
        LinkFault.LONG,
        f"half of {trips.answered} round trips take longer than {in_ms(trips.p50_us)}, where a few "
        "ms are usual",
        "use one access point near the arm, the laptop on its cable, and no repeater in between",
    )


def _crowded(trips: RoundTrips) -> LinkFinding | None:
    if trips.p99_us < max(CROWDED_US, CROWDED_TIMES * trips.p50_us):
        return None
    return LinkFinding(
        LinkFault.CROWDED,
        f"of {trips.answered} round trips half take {in_ms(trips.p50_us)} and less, and one in a "
        f"hundred more than {in_ms(trips.p99_us)}: a start has to be set "
        f"{in_ms(trips.start_delay_us)} ahead",
        "take other traffic off the joints' network, or use a channel with less of it",
    )


def _lopsided(trips: RoundTrips, found: Ways | None) -> LinkFinding | None:
    if found is None:
        return None
    longer_us = found.forward_longer_us
    if abs(longer_us) <= max(SHARE * trips.p50_us, LEAST_US):
        return None
    way = "to the joint than back" if longer_us > 0 else "back than to the joint"
    return LinkFinding(
        LinkFault.LOPSIDED,
        f"messages take {abs(longer_us) / 1e3:.0f} ms longer {way} ({trips.answered} exchanges)",
        "end uploads and downloads on the joints' network, which make a queue one way",
    )


def _lossy(trips: RoundTrips) -> LinkFinding | None:
    if trips.loss_low <= LOSS_SHARE:
        return None
    return LinkFinding(
        LinkFault.LOSS,
        f"{trips.lost} of {trips.sent} exchanges are lost ({trips.loss_low:.0%} to "
        f"{trips.loss_high:.0%} by a 95 % interval)",
        NEARER,
    )


def _start(trips: RoundTrips) -> LinkFinding | None:
    if trips.start_delay_us <= START_DELAY_MAX_US:
        return None
    return LinkFinding(
        LinkFault.START,
        f"at its worst a start would have to be set {in_ms(trips.start_delay_us)} ahead, and "
        f"{in_ms(START_DELAY_MAX_US)} are possible: starts are likely to be refused",
        "mend what else is told of this link first; "
        "where nothing is, bring access point, laptop and arm nearer together",
    )
