"""What a stranger without a key can announce of a joint of the arm."""

from tests.lab.announcements import multicast
from tests.lab.lab import Lab

STRANGER_PORT = 4711


def foreign_id(lab: Lab) -> None:
    """The elbow's id is announced under another name, at the stranger's address."""
    stranger = lab.hosts["stranger"]
    forged = lab.announced("elbow").but(
        instance="elbow", server="stranger", address=stranger.address, stream_port=STRANGER_PORT
    )
    multicast(stranger, forged.packed())


def name_elsewhere(lab: Lab) -> None:
    """The elbow's name is announced at the stranger's address."""
    stranger = lab.hosts["stranger"]
    forged = lab.announced("elbow").but(address=stranger.address, stream_port=STRANGER_PORT)
    multicast(stranger, forged.packed())


def goodbye(lab: Lab) -> None:
    """A goodbye for the elbow."""
    multicast(lab.hosts["stranger"], lab.announced("elbow").goodbye())
