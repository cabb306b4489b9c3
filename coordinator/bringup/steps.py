"""The steps of a bring-up, in their order, and what each of them depends on."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Aspect(StrEnum):
    """What a step was done with. Where it is another now, the step counts no more."""

    CONTROLLER = "controller"
    """The id of the joint's controller."""
    BODY = "body"
    """Motor, gear, housing and magnets: another one whenever the controller is another than before,
    unless somebody says that it alone was changed."""
    FIRMWARE = "firmware"
    PLACE = "place"
    """Number in the arm, from its base."""
    GEAR = "gear"
    """Steps, gear ratio and direction."""
    RANGE = "range"
    HOMING = "homing"
    """Where home is, and how it is searched."""
    CURRENT = "current"
    HEAT = "heat"
    """Temperatures at which it warns and stops."""
    SUPPLY = "supply"
    LIMITS = "limits"
    """Velocity, acceleration, jerk."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step."""

    code: str
    """Stable, for programs."""
    title: str
    todo: str
    """What is to be done, sentences."""
    caution: str
    """What must be known first."""
    depends: tuple[Aspect, ...]
    answers: tuple[str, ...] = ()
    """What somebody may say of it, the first ones let it be done; none where nobody is asked."""
    good: int = 0
    """How many of the answers let it be done."""
    measures: bool = False
    """Whether somebody types by how far it was told to turn, and by how far it did."""

    @property
    def good_answers(self) -> tuple[str, ...]:
        """What lets it be done."""
        return self.answers[: self.good]

    @property
    def bad_answers(self) -> tuple[str, ...]:
        """What takes it back, once it was done."""
        return self.answers[self.good :]


_A = Aspect

IDENTIFIED: Final = "identified"
PLACED: Final = "placed"

EDGE_STEPS: Final = 4
"""Microsteps by which the width of a home sensor may differ besides: each of its two edges is met
to a step, in either homing."""

STEPS: Final = (
    Step(
        IDENTIFIED,
        "Identified",
        "Let its light blink, or turn its own control by a detent, and see which joint answers; "
        "only where neither can be seen, turn it by a degree by hand controls.",
        "Support a raised arm. Keep hands out of pinch points: another joint than you think may "
        "answer, and a turn by hand controls moves it.",
        (_A.CONTROLLER,),
        ("light", "touch", "wiggle", "another joint answered"),
        3,
    ),
    Step(
        PLACED,
        "Given its place",
        "Look at the arm: is it in the place that the arm file gives it, counted from the base?",
        "A joint in the place of another turns another part of the arm than a program means.",
        (_A.CONTROLLER, _A.PLACE),
        ("it is there", "it is elsewhere"),
        1,
    ),
    Step(
        "configured",
        "Configured",
        "The joint must be linked and have taken the figures of the arm file. Compare the figures "
        "with what you measured.",
        "The joint believes these figures; nobody but you can tell whether they are true.",
        (_A.CONTROLLER, _A.FIRMWARE, _A.GEAR, _A.RANGE, _A.HOMING, _A.CURRENT, _A.HEAT, _A.SUPPLY,
         _A.LIMITS),
    ),
    Step(
        "sensors",
        "Heat sensor, supply and fan",
        "Its temperature must be believable and its supply above its limit. Look at the fan: does "
        "it turn if the joint says so?",
        "Motors, drivers and heat sinks may be hot. Keep fingers out of the fan. Leave mains "
        "wiring to those who are qualified.",
        (_A.CONTROLLER, _A.BODY, _A.FIRMWARE, _A.HEAT, _A.SUPPLY),
        ("as it says", "it has no fan", "the fan stands though it should turn"),
        2,
    ),
    Step(
        "direction",
        "Direction",
        "Jog it slowly by a degree or two to larger angles. Which way did it turn?",
        "It moves, and not homed it keeps to no range: be ready to press Stop, have the supply's "
        "switch at hand, and nobody in its reach.",
        (_A.CONTROLLER, _A.BODY, _A.FIRMWARE, _A.GEAR, _A.CURRENT),
        ("to larger angles", "to smaller angles", "not at all"),
        1,
    ),
    Step(
        "home",
        "Home found",
        "Home this joint alone, first brought to the side from which it searches. Its newest "
        "homing must be by this controller and these figures.",
        "It searches by itself and may go as far as its travel. With a wrong direction it runs "
        "into its end stop: stand by.",
        (_A.CONTROLLER, _A.BODY, _A.FIRMWARE, _A.GEAR, _A.HOMING, _A.CURRENT),
    ),
    Step(
        "travel",
        "Travel measured",
        "Turn it by at least 20°, and measure with a protractor by how much it turned: this is "
        "what finds a wrong gear ratio.",
        "With a wrong ratio it turns further than it is told, perhaps beyond what is free: begin "
        "small and slowly.",
        (_A.BODY, _A.GEAR),
        measures=True,
    ),
    Step(
        "range",
        "Range free",
        "Jog it slowly to both ends of its range, or by a whole turn where it turns without end. "
        "Does anything touch, and does any cable pull?",
        "Parts of the arm, cables and what stands around may be in the way, at other angles of the "
        "other joints too. Stop before they touch.",
        (_A.BODY, _A.PLACE, _A.GEAR, _A.RANGE, _A.HOMING),
        ("both ends are free", "something is in the way"),
        1,
    ),
    Step(
        "link",
        "Link surveyed",
        "Survey its link with the whole arm on its supply (unisono survey, in a terminal), once it "
        "is configured.",
        "Nothing moves by it. A link that is good on the bench may be poor in the arm.",
        (_A.CONTROLLER, _A.FIRMWARE, _A.PLACE),
    ),
    Step(
        "repeatability",
        "Repeatability of home",
        "Home it six times in a row once it is configured, so that the scatter of its edges can be "
        "told.",
        "It moves each time. That home is found again says nothing of the tool's place: measure "
        "that with a gauge (unisono accuracy).",
        (_A.CONTROLLER, _A.BODY, _A.FIRMWARE, _A.GEAR, _A.HOMING, _A.CURRENT),
    ),
)  # fmt: skip
BY_CODE: Final = {step.code: step for step in STEPS}
