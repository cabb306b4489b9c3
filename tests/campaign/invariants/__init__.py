"""The invariants of design section 6, each with its text; and `halt`, `latch`, `rate`, `clock`,
`told`, `steps`, `place`, `touch`, `hand`, `output`, `entry`, `current`, `loops`.
"""

from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.clock_alone import NoLoneClock
from tests.campaign.invariants.currents import FullCurrentToMove
from tests.campaign.invariants.entry import SlowlyToTheEntry
from tests.campaign.invariants.halt import HoldsAndStops
from tests.campaign.invariants.hand import OnlyByLiveHands
from tests.campaign.invariants.i01_armed import AllArmed
from tests.campaign.invariants.i02_permit import NoFurtherThanPermit
from tests.campaign.invariants.i03_dead import RestWithoutCoordinator
from tests.campaign.invariants.i04_together import Together
from tests.campaign.invariants.i05_limits import WithinLimits
from tests.campaign.invariants.i06_unhomed import NoBlindMotion
from tests.campaign.invariants.i07_reboot import RebootedStays
from tests.campaign.invariants.i08_stranger import NoStranger
from tests.campaign.invariants.i09_position import PositionTrue
from tests.campaign.invariants.i11_command import OnlyByCommand
from tests.campaign.invariants.latch import StopsLatched
from tests.campaign.invariants.loops import LoopsAsTold
from tests.campaign.invariants.on_copies import ON_COPIES
from tests.campaign.invariants.outputs import OutputsAsTold
from tests.campaign.invariants.place import NotBeyondPlace
from tests.campaign.invariants.rate import AsFastAsWanted
from tests.campaign.invariants.steps import StepsAddUp
from tests.campaign.invariants.told import NeverCalmerThanTrue
from tests.campaign.invariants.touch import OnlyAsTouched

ALWAYS: tuple[type[Invariant], ...] = (
    AllArmed,
    NoFurtherThanPermit,
    RestWithoutCoordinator,
    Together,
    WithinLimits,
    NoBlindMotion,
    RebootedStays,
    NoStranger,
    PositionTrue,
    OnlyByCommand,
    HoldsAndStops,
    StopsLatched,
    AsFastAsWanted,
    NoLoneClock,
    NeverCalmerThanTrue,
    StepsAddUp,
    NotBeyondPlace,
    OnlyAsTouched,
    OnlyByLiveHands,
    OutputsAsTold,
    SlowlyToTheEntry,
    FullCurrentToMove,
    LoopsAsTold,
    *ON_COPIES,
)
"""I12 is judged by who plays a scenario: it needs an operator who asks."""
