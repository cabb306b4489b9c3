"""Jog and step as a client asks for them: by its feed or by HTTP, under single control."""

import contextlib

from coordinator.api.bodies import GoBody
from coordinator.api.control import Who
from coordinator.api.control_routes import ControlDesk
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Because, Blink, Command, Go, Hold, Jog, Refused
from coordinator.service import Service
from coordinator.teaching.known import NoSuch


class Hand:
    """What hands do with one service's arm."""

    def __init__(self, service: Service, desk: ControlDesk) -> None:
        self._service = service
        self._desk = desk

    def session(self) -> int:
        """The session in force."""
        return self._service.session

    def go_to(self, place: GoBody) -> Go:
        """The command that goes there, at the speed of teaching. Raises Refused."""
        arm = self._service.arm
        if place.waypoint is not None:
            name, angles = self._waypoint(place.waypoint)
        elif place.pose is not None:
            name = f"pose {place.pose!r}"
            if place.pose not in arm.poses:
                known = ", ".join(arm.poses)
                raise Refused(
                    RefusalCode.POSE_UNKNOWN, f"the arm file has no {name}, it has {known}"
                )
            angles = arm.pose_deg(place.pose)
        else:
            name, angles = "angles", dict(place.angles_deg or {})
        return Go(name, angles, arm.jog_speeds.teaching)

    def _waypoint(self, number: int) -> tuple[str, dict[str, float]]:
        try:
            waypoint = self._service.taught.waypoint(number)
        except NoSuch as error:
            raise Refused(RefusalCode.WAYPOINT_UNKNOWN, str(error)) from error
        names = [joint.name for joint in self._service.arm.joints]
        for name in names:
            if name not in waypoint.angles_deg:
                raise Refused(
                    RefusalCode.WAYPOINT_UNKNOWN,
                    f"waypoint {waypoint.name!r} was taught without an angle of {name}",
                )
        return repr(waypoint.name), {name: waypoint.angles_deg[name] for name in names}

    def jog(self, command: Command, who: Who) -> None:
        """Carry out a jog or step. Raises Refused.

        To let go takes no control, and from whom another has taken it is nothing to let go.
        """
        if isinstance(command, Jog) and not any(command.velocities_deg_s.values()):
            if self._desk.has(who):
                self._service.command(command, who.name)
            return
        with self._desk.commanding_as(who):
            self._service.command(command, who.name)

    def end(self, who: Who) -> None:
        """A client has gone: what it jogs, or homes while it holds, comes to rest."""
        if self._desk.has(who) and self._service.moved_by_hand:
            with contextlib.suppress(Refused):  # it came to rest by itself
                self._service.command(Hold(Because.GONE), who.name, detail=True)


def show_recorded(service: Service, who: Who) -> None:
    """Every joint's light: whoever stands at the arm sees that it took the place."""
    for joint in service.arm.joints:
        with contextlib.suppress(Refused):  # it is recorded, whoever sees it or not
            service.command(Blink(joint.name), who.name, detail=True)
