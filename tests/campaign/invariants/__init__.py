"""The invariants of the design's section 6, each with its text; and one more, `halt`."""

from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.halt import HoldsAndStops
from tests.campaign.invariants.i01_armed import AllArmed
from tests.campaign.invariants.i02_lease import NoFurtherThanLease
from tests.campaign.invariants.i03_dead import RestWithoutCoordinator
from tests.campaign.invariants.i04_together import Together
from tests.campaign.invariants.i05_limits import WithinLimits
from tests.campaign.invariants.i06_unhomed import NoBlindMotion
from tests.campaign.invariants.i07_reboot import RebootedStays
from tests.campaign.invariants.i08_stranger import NoStranger
from tests.campaign.invariants.i09_position import PositionTrue
from tests.campaign.invariants.i11_command import OnlyByCommand
from tests.campaign.invariants.on_copies import ON_COPIES

ALWAYS: tuple[type[Invariant], ...] = (
    AllArmed,
    NoFurtherThanLease,
    RestWithoutCoordinator,
    Together,
    WithinLimits,
    NoBlindMotion,
    RebootedStays,
    NoStranger,
    PositionTrue,
    OnlyByCommand,
    HoldsAndStops,
    *ON_COPIES,
)
"""I12 is judged by who plays a scenario: it needs an operator who asks."""
