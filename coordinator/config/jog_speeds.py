"""How fast a hand turns the joints: as shares of each joint's limit."""

from dataclasses import dataclass
from typing import Final, Literal

from coordinator.config.toml_table import Table

SpeedWord = Literal["fine", "normal", "fast"]


@dataclass(frozen=True, slots=True)
class JogSpeeds:
    """Shares of a joint's velocity limit, or what they come to in °/s for one joint."""

    fine: float
    normal: float
    fast: float
    teaching: float
    """At most, while a person teaches; also the speed on the way to a taught place."""

    def named(self, word: str) -> float:
        """That which a hand calls by a SpeedWord. Raises KeyError."""
        return {"fine": self.fine, "normal": self.normal, "fast": self.fast}[word]

    def of(self, velocity_deg_s: float) -> "JogSpeeds":
        """What these shares of a limit are, in °/s."""
        shares = (self.fine, self.normal, self.fast, self.teaching)
        return JogSpeeds(*(share * velocity_deg_s for share in shares))


USUAL: Final = JogSpeeds(0.02, 0.15, 0.5, 0.1)


def read_jog_speeds(whole: Table) -> JogSpeeds:
    """The table `jog_speeds` of an arm file; the usual ones where it is not there."""
    table = whole.table("jog_speeds", "jog_speeds:") if whole.has("jog_speeds") else None
    if table is None:
        return USUAL
    fine, normal, fast = (
        table.number(name, 0.0, 1.0, above=True) for name in ("fine", "normal", "fast")
    )
    if fine > normal or normal > fast:
        table.complain(
            "normal", f"fine, normal and fast are {fine:g}, {normal:g} and {fast:g}, but must rise"
        )
    teaching = min(USUAL.teaching, fast)
    if table.has("teaching"):
        teaching = table.number("teaching", 0.0, 1.0, above=True)
    if teaching > fast:
        table.complain("teaching", f"teaching is {teaching:g}, above fast, which is {fast:g}")
    table.finish()
    return JogSpeeds(fine, normal, fast, teaching)
