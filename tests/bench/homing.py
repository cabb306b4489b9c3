"""How well joints find a home sensor whose comparator bounces, against the axis as it truly stands.

Each homing is of a joint of its own that begins elsewhere, so that nothing of one helps the next.
"""

from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import count
from random import Random
from statistics import fmean, pstdev

from protocol.status import Fault
from tests.bench.figures import show
from tests.simulator.driven import Driven
from tests.simulator.joint.rig import PER_DEGREE, configuration

NOISES_DEG = (0.0, 0.003, 0.006, 0.012)
"""Standard deviations of where an edge lies: none, half of, as, and twice what software joints have
(`coordinator/rehearsal/software_joints.py`)."""
SLOW_DEG_S = {"slow": 0.5, "normal": 2.0}
WRONG_DEG = 0.045
"""Half of a full step: home is further off than `home_shift_limit_deg` allows."""


@dataclass
class Homed:
    """What came of homings."""

    errors_deg: list[float] = field(default_factory=list)
    """Home as it was found less where the middle of the window truly is."""
    changes: list[int] = field(default_factory=list)
    """Of level, of each joint on its slow way over the sensor."""
    failed: int = 0
    passes: int = 0
    """How often homed joints went over the sensor after it."""
    false_losses: int = 0
    """Joints that found steps lost there, of which none were."""

    @property
    def wrong(self) -> int:
        """Homes that are further off than is allowed."""
        return sum(abs(error) > WRONG_DEG for error in self.errors_deg)

    def add(self, other: "Homed") -> None:
        """Those of another."""
        self.errors_deg += other.errors_deg
        self.changes += other.changes
        self.failed += other.failed
        self.passes += other.passes
        self.false_losses += other.false_losses


def homings(counts: int, seed: int, noise_deg: float, slow_deg_s: float, passes: int) -> Homed:
    """So many, each followed by so many ways over the sensor at speeds that are drawn."""
    settings = configuration().homing.model_copy(update={"slow": round(slow_deg_s * PER_DEGREE)})
    limits = configuration(homing=settings)
    found = Homed()
    for number in range(counts):
        joint = Driven(seed * 1_000_003 + number, noise_deg, limits)
        if not joint.home():
            found.failed += 1
            continue
        found.changes.append(joint.slow_changes)
        found.errors_deg.append(joint.error_deg())
        for faults in _passes(joint, Random(f"passes {seed} {number}"), passes):
            found.passes += 1
            if faults:
                found.false_losses += 1
                break
    return found


def _passes(joint: Driven, draw: Random, passes: int) -> Iterator[Fault]:
    for number in range(passes):
        speed = round(draw.choice((0.5, 2.0, 20.0)) * PER_DEGREE)
        yield joint.over(speed if number % 2 == 0 else -speed)


def table(counts: int, seed: int, processes: int, shares: int = 8) -> list[str]:
    """Print it; gives which homes were wrong, and which losses were none."""
    rows, broken = [], []
    with ProcessPoolExecutor(processes) as pool:
        for noise_deg in NOISES_DEG:
            for word, slow_deg_s in SLOW_DEG_S.items():
                found = Homed()
                each = [
                    pool.submit(homings, counts // shares, one, noise_deg, slow_deg_s, 4)
                    for one, _ in zip(count(seed * shares), range(shares), strict=False)
                ]
                for future in each:
                    found.add(future.result())
                rows.append(_row(noise_deg, word, found))
                broken += _broken(noise_deg, word, found)
    show(
        "Homing on a sensor that bounces: home as found less where it truly is",
        (
            "noise (°)", "slow way", "homings", "changes there", "failed", "wrong", "mean (°)",
            "standard deviation (°)", "largest (°)", "ways over it", "false losses",
        ),
        rows,
        f"*Wrong*: further off than {WRONG_DEG}°, half of a full step.",
    )  # fmt: skip
    return broken


def _row(noise_deg: float, word: str, found: Homed) -> tuple[object, ...]:
    errors: Sequence[float] = found.errors_deg or [float("nan")]
    return (
        noise_deg,
        f"{word}, {SLOW_DEG_S[word]:g} °/s",
        len(found.errors_deg) + found.failed,
        f"{fmean(found.changes or [0]):.1f}",
        found.failed,
        found.wrong,
        f"{fmean(errors):.5f}",
        f"{pstdev(errors):.5f}",
        f"{max(errors, key=abs):.5f}",
        found.passes,
        found.false_losses,
    )


def _broken(noise_deg: float, word: str, found: Homed) -> list[str]:
    which = f"a sensor with {noise_deg}° of noise, {word}"
    said = []
    if found.failed or found.wrong:
        said.append(f"homing on {which}: {found.failed} failed, {found.wrong} wrong")
    if found.false_losses:
        said.append(f"{found.false_losses} joints took {which}, for steps that were lost")
    return said
