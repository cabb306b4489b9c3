"""What comes of a joint's own touch control: how far a detent turns it, what presses do."""

from dataclasses import dataclass
from typing import Final, Literal, get_args

from coordinator.config.toml_table import Table

PressDoes = Literal["nothing", "hold", "record", "play"]
"""`record` takes a waypoint into the sequence that was edited last; `play` plays that one, and
holds whatever moves. It resumes nothing."""
MAX_DETENT_DEG: Final = 10.0


@dataclass(frozen=True, slots=True)
class Touch:
    """The same for all joints that listen."""

    detent_deg: float = 0.1
    press: PressDoes = "hold"
    long_press: PressDoes = "record"


USUAL_TOUCH: Final = Touch()


def read_touch(whole: Table) -> Touch:
    """The table `touch` of an arm file; the usual where it is not there."""
    table = whole.table("touch", "touch:") if whole.has("touch") else None
    if table is None:
        return USUAL_TOUCH
    detent_deg = USUAL_TOUCH.detent_deg
    if table.has("detent_deg"):
        detent_deg = table.number("detent_deg", 0.0, MAX_DETENT_DEG, "°", above=True)
    press = _does(table, "press", USUAL_TOUCH.press)
    long_press = _does(table, "long_press", USUAL_TOUCH.long_press)
    table.finish()
    return Touch(detent_deg, press, long_press)


def _does(table: Table, key: str, usual: PressDoes) -> PressDoes:
    if not table.has(key):
        return usual
    words = get_args(PressDoes)
    text = table.text(key, "|".join(words), f"one of {' '.join(words)}")
    return next((word for word in words if word == text), usual)
