"""`unisono accuracy edges`: how much play a joint has at most, by what its homings met."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from coordinator.accuracy.edge_reversal import LEAST_HOMINGS, EdgeReversal, edge_reversal
from coordinator.accuracy.no_figure import NoFigure
from coordinator.answers.joint_homings import JointHomings
from coordinator.cli.common import (
    ExitCode,
    Failure,
    caution,
    out,
    require_yes,
)
from coordinator.cli.figure import or_no_figure, play_deg, show_figure, take_into
from coordinator.cli.guided import (
    AskedTest,
    home_again,
    noticed_late_deg,
    require_homed,
    testing,
)
from coordinator.cli.remote import giving_back
from coordinator.client import Client
from coordinator.config.arm import Arm, Joint
from coordinator.core.homing import figures_in_words
from coordinator.pictures.edge_reversal import edge_reversal_picture

INCLUDES: Final = (
    "the home sensor's own hysteresis is in it, which no sensor tells from play: this is an upper "
    "bound, and a gauge tells more (unisono accuracy reversal)"
)
FLANK: Final = (
    "it holds where the joint homes and under the load that it has there: play does not show "
    "where gravity or a spring keeps its gear on one flank, nor where the home sensor sits before "
    "the gear"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked(AskedTest):
    """What was asked for."""

    homings: int
    """How often it is to be homed before."""


def show(asked: Asked, *, as_json: bool) -> ExitCode:
    """Tell the bound, and take it into an arm file where that is asked. Raises Failure."""
    with testing(asked) as (client, joint, arm):
        if asked.homings:
            _home(client, asked, as_json=as_json)
        told = client.joint_homings(asked.joint)
    with or_no_figure(f"{asked.joint}: no play is told"):
        found, before = found_of(told, joint, max(asked.homings, LEAST_HOMINGS))
    remarks = (INCLUDES, FLANK, *_changed(found, before))
    return show_figure(
        _as_json(asked.joint, found, remarks),
        remarks,
        lambda: _tell(asked.joint, found),
        picture=asked.picture,
        draw=lambda: edge_reversal_picture(asked.joint, found),
        take=lambda: {} if arm is None else _take(arm, joint, found, asked, as_json=as_json),
        as_json=as_json,
    )


def found_of(
    told: JointHomings, joint: Joint, newest: int
) -> tuple[EdgeReversal, EdgeReversal | None]:
    """Of so many of its newest homings, as older ones do not know of wear since; and of as many
    before them, None where there are too few or they tell nothing. Only those by the controller and
    the figures that the joint has. Raises NoFigure, also where the newest is by others: then the
    edges are another gear's, maybe.
    """
    figures = figures_in_words(joint)
    last = told.homings[-1] if told.homings else None
    if last is not None and (last.controller, last.figures) != (joint.id, figures):
        raise NoFigure(
            "its newest homing is by another controller or with other figures than the arm file "
            f"has: home it {LEAST_HOMINGS} times"
        )
    values: Sequence[float] = [
        one.hysteresis_deg
        for one in told.homings
        if one.hysteresis_deg is not None and (one.controller, one.figures) == (joint.id, figures)
    ]
    late_deg = noticed_late_deg(joint.homing.fast_deg_s + joint.homing.slow_deg_s)
    count_deg = abs(joint.to_degrees(1))
    found = edge_reversal(values[-newest:], late_deg, count_deg)
    try:
        return found, edge_reversal(values[-2 * newest : -newest], late_deg, count_deg)
    except NoFigure:
        return found, None


def _changed(found: EdgeReversal, before: EdgeReversal | None) -> list[str]:
    by = None if before is None else found.grown_since(before)
    if before is None or by is None:
        return []
    way = "GREW" if by > 0.0 else "shrank"
    words = (
        f"it {way} by {abs(by):.4f}°: the {before.count} homings before these met their edges "
        f"{before.mean:.4f}° later, in the mean. Something wears, came loose or was changed; the "
        f"figure is of the newest {found.count} alone"
    )
    return [words]


def _home(client: Client, asked: Asked, *, as_json: bool) -> None:
    """Home it so many times; only where its angle is known, so that it goes no further than to
    its sensor and over it.
    """
    require_homed(client, asked.joint)
    require_yes(
        f"Home {asked.joint} {asked.homings} times? It goes to its home sensor each time.",
        "homing again and again", "nothing was homed",
        given=asked.yes, as_json=as_json,
    )  # fmt: skip
    caution(as_json=as_json)
    with giving_back(client):
        for _ in range(asked.homings):
            home_again(client, asked.joint, as_json=as_json)


def _tell(joint: str, found: EdgeReversal) -> None:
    scatter = f"s {found.deviation:.4f}°" if found.deviation else "all the same"
    out().print(
        f"{joint}: met its home edges {found.mean:.4f}° later in either direction, in the mean of "
        f"its newest {found.count} homings ({scatter}, standard uncertainty "
        f"{found.uncertainty:.2g}°)"
    )
    if found.is_seen:
        out().print(
            f"play at most {found.bound:.4f}° (mean and {found.factor:.3g} standard "
            f"uncertainties), at least 0; up to {found.late:.4f}° of it is that edges "
            "are noticed late"
        )
    else:
        out().print(
            f"no play is seen: it is less than {found.bound:.2g}° there, or does not show at the "
            "sensor"
        )


def _take(
    arm: Arm, joint: Joint, found: EdgeReversal, asked: Asked, *, as_json: bool
) -> Mapping[str, Any]:
    if not found.is_seen:
        raise Failure(
            ExitCode.NOT_FINISHED,
            f"no play of {joint.name} is seen at its home sensor, which does not say that it has "
            "none: nothing is written",
        )
    return take_into(
        arm, joint, {"reversal_error_deg": play_deg(found.bound)},
        given=asked.yes, as_json=as_json, is_bound=True,
    )  # fmt: skip


def _as_json(joint: str, found: EdgeReversal, remarks: Sequence[str]) -> dict[str, Any]:
    return asdict(found) | {
        "joint": joint, "unit": "deg", "count": found.count, "mean": found.mean,
        "deviation": found.deviation, "uncertainty": found.uncertainty,
        "bound": found.bound, "is_seen": found.is_seen, "remarks": remarks,
    }  # fmt: skip
