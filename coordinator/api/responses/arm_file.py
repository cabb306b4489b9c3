"""The arm file on the disk, and a text that is to be in it, with an example of each."""

from typing import Final

from coordinator.answers.arm_file import ArmFileNow
from coordinator.api.responses.base import as_answer
from coordinator.config.arm_text import ArmTextLookedAt, ArmTextMistake, ChangedRow

FILE_NOW: Final = ArmFileNow(
    file="/home/gardener/arm.toml",
    text='name = "bench arm"\n',
    sha256="5" * 64,
    in_use=True,
    kept_because="",
)
FILE_WRITTEN: Final = ArmFileNow(
    file="/home/gardener/arm.toml",
    text='name = "the arm at the bench"\n',
    sha256="6" * 64,
    in_use=False,
    kept_because="",
)
TEXT_LOOKED_AT: Final = ArmTextLookedAt(
    mistakes=(ArmTextMistake(12, "joint elbow: gear_ratio is 0, but must be 0.1 to 1000"),),
    more_mistakes=0,
    remarks=(),
    changes=(
        ChangedRow(added=False, line=1, text='name = "bench arm"'),
        ChangedRow(added=True, line=1, text='name = "the arm at the bench"'),
    ),
)
for kind in (ArmFileNow, ArmTextLookedAt, ArmTextMistake, ChangedRow):
    as_answer(kind)
