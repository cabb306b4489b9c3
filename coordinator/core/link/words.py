"""What the link to a joint is, in the one word that people and programs get, and why.

A joint whose word is older than a second is *offline*, whatever its stream does: a TCP stream
stands for minutes after its other end has gone.
"""

from collections.abc import Sequence

from coordinator.codes.link_word import LinkWord
from coordinator.core.link.link import JointLink
from coordinator.health.supply import is_gone, no_supply


def link_word(link: JointLink, now: int) -> LinkWord:
    """The word for a joint's link at arm time `now`."""
    if not link.heard(now):
        return LinkWord.OFFLINE
    if link.connection.conflict:
        return LinkWord.CONFLICT
    return LinkWord.UP if link.up else LinkWord.CONNECTING


def why_offline(link: JointLink, now: int) -> str:
    """Why a joint is not heard, or has no stream: a clause."""
    connection = link.connection
    if connection.conflict or connection.message:
        return connection.conflict or connection.message
    if link.heard_us is None:
        return "it has not answered yet"
    return f"silent for {_lasting(now - link.heard_us)}"


def has_trouble(link: JointLink) -> bool:
    """Whether its last word tells of a fault, or of a motor without supply."""
    status = link.status
    return status is not None and (bool(status.faults) or is_gone(status))


def trouble(link: JointLink) -> str:
    """What that is, a sentence: a motor without supply first, as it is the cause of faults."""
    status = link.status
    assert status is not None
    if is_gone(status):
        return f"{link.name} {no_supply((status.supply_mv or 0) / 1_000)}"
    return f"{link.name} has a fault: {', '.join(status.faults.words)}"


def offline(link: JointLink, now: int) -> str:
    """The same as a sentence, as of `now`: for an answer."""
    return f"{link.name} is {link_word(link, now)}: {why_offline(link, now)}"


def not_heard(link: JointLink) -> str:
    """That a joint is offline, as a sentence that stays true while it stands: no duration in it."""
    connection = link.connection
    why = connection.conflict or connection.message
    if not why:
        why = "it has not answered yet" if link.heard_us is None else "it answers no more"
    return f"{link.name} is {LinkWord.OFFLINE}: {why}"


def listed(names: Sequence[str]) -> str:
    """Names as in a sentence."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def not_at_rest(names: Sequence[str], *, had: bool = False) -> str:
    """That joints have not said that they rest, or had not, as a clause."""
    has, it_rests = ("has", "it rests") if len(names) == 1 else ("have", "they rest")
    return f"{listed(names)} {'had' if had else has} not confirmed that {it_rests}"


def not_reached(names: Sequence[str]) -> str:
    """That joints have not confirmed a stop in time, as a clause."""
    return f"the stop has not reached {listed(names)}"


def _lasting(us: int) -> str:
    seconds = us / 1e6
    if seconds < 10:
        return f"{seconds:.1f} s"
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
