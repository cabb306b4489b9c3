"""How far a bring-up is, with an example of the whole."""

from typing import Final

from coordinator.answers.bring_up import BringUp, BringUpSaid, BringUpStep
from coordinator.api.responses.base import as_answer
from coordinator.bringup.progress import Done, bring_up
from coordinator.config.arm import load_arm
from coordinator.config.settings import DEMO_ARM

_BASIS: Final = {"controller": "3c71bf4a0003"}
_DONE: Final = Done(
    "identified", "2026-05-01T09:00:00+00:00", "the owner", _BASIS,
    {"answer": "light", "id": "3c71bf4a0003", "firmware": "1.5.0", "rssi_dbm": -52},
)  # fmt: skip
BRING_UP: Final = bring_up(load_arm(DEMO_ARM).joint("elbow"), 3, "1.5.0", (_DONE,))
for kind in (BringUp, BringUpSaid, BringUpStep):
    as_answer(kind)
