"""Plans and permits: when a joint arms, starts, takes an override, and ramps to rest.

What the newest drive does not carry is withdrawn (design section 4). `complied` is the number
that the status echoes. A start needs that the plan before it was an arm complied with: `_armed_by`
is that arm's number. One arm serves one go, whatever becomes of that, and any plan not complied
with forgets it.
"""

from protocol.constants import PATH_TOLERANCE_US, RATE_MIN_PPM
from protocol.drive import Drive, Mode, Plan
from protocol.messages import Finished, Held, Started
from protocol.pathtime import RateChange
from protocol.states import ON_PATH, JointState, Trigger
from protocol.status import Reason
from simulator.joint.body import Body
from simulator.joint.path import Coming


class Player:
    """The rules of the path, over one joint's body."""

    def __init__(self, body: Body) -> None:
        self._body = body
        self._path = body.path
        self.begin_session()

    def begin_session(self) -> None:
        """Forget every plan: numbers begin anew with a session."""
        self.complied = 0
        self.reason = Reason.NONE
        self._newest = 0
        self._armed_by: int | None = None
        self._served = 0
        """Number of the last go, refused or not: an arm must be newer."""
        self._accepted_us = 0.0
        self._permitted_us: float | None = None
        self._cause = ""

    def discard(self) -> None:
        """Forget trajectory and plan."""
        self._path.clear()
        self.complied, self.reason, self._armed_by = 0, Reason.NONE, None

    def permit_us(self) -> int | None:
        """What the status reports: the permit obeyed, or where the ramp began."""
        if self._body.state is JointState.FINISHED:
            return self._path.stand_us
        if self._path.began_us is not None:
            return self._path.began_us
        return self._path.effective_permit_us()

    def obey(self, drive: Drive, now: float) -> None:
        """A drive's plan and permit, or their absence."""
        plan = drive.plan if drive.mode is Mode.PATH else None
        if plan is None:
            self._leave(Reason.NONE, now)
        else:
            known, self._newest = self._known(plan), max(self._newest, plan.number)
            self._obey(plan, drive, known=known, now=now)

    def _obey(self, plan: Plan, drive: Drive, *, known: bool, now: float) -> None:
        if not known:
            self._leave(Reason.NOT_ARMED if self._body.clock is not None else Reason.NO_MAP, now)
        elif plan.change is None:
            self._arm(plan, drive, now)
        elif self._body.state is JointState.MOVING:
            if self._override(plan, plan.change, now):
                self._take_permit(drive.permit_us, now)
        elif self._go(plan, plan.change, now):
            self._take_permit(drive.permit_us, now)

    def ramp(self, now: float, cause: str) -> None:
        """Fall to rest along the path from here, in MOVING or ADVANCING."""
        self._fall(self._body.arm(now), None, cause)

    def _fall(self, arm_us: float, path_us: int | None, cause: str) -> None:
        self._body.follow(Trigger.RAMP)
        self._path.begin_fall(arm_us, path_us)
        self._cause = cause
        self._refuse(Reason.NOT_ARMED)

    def drop_start(self, reason: Reason) -> None:
        """Withdraw an accepted start."""
        self._drop_pending()
        self._refuse(reason)

    def _drop_pending(self) -> None:
        """Nothing is to start any more, and the arm clock drops what is left of an older map."""
        path, clock = self._path, self._body.clock
        if path.pending is not None and clock is not None:
            clock.settle()
        path.pending = path.permit_us = None

    def happen(self, coming: Coming, arm_us: float, now: float) -> None:
        """What was coming on the path has come, at an arm time exactly."""
        path = self._path
        if coming is Coming.SWITCH:
            self._switch(now)
        elif coming is Coming.CHANGE and self._body.state is JointState.ARMED:
            self._start(now)
        elif coming is Coming.CHANGE:
            path.begin_change()
        elif coming is Coming.PERMIT:
            # The arm time as computed, not read back from a clock: all joints have the same.
            self._fall(arm_us, path.effective_permit_us(), "permit")
        elif coming is Coming.FALL:
            path.begin_arrival(arm_us)
        elif coming is Coming.LAST:
            self._finish(now)
        elif path.goal_us is not None:
            self._arrive(path.goal_us, now)
        else:
            self._hold(now)

    def _known(self, plan: Plan) -> bool:
        """Whether a plan is about what this joint is prepared for, and not one passed over."""
        body = self._body
        return (
            body.clock is not None
            and body.homed
            and not body.latched
            and not body.faults
            and plan.trajectory == self._path.buffer.trajectory
            and (body.state in ON_PATH or body.state is JointState.FINISHED)
            and plan.number >= max(self._newest, 1)
        )

    def _leave(self, reason: Reason, now: float) -> None:
        """No plan for this joint: whatever one permitted ends."""
        body = self._body
        if body.state in (JointState.MOVING, JointState.ADVANCING):
            self.ramp(now, "withdrawn")
        elif body.state is JointState.ARMED:
            at_start = self._path.stand_us == 0
            body.follow(Trigger.DISARM_START if at_start else Trigger.DISARM_PATH)
            self.drop_start(reason)
        self._refuse(reason)

    def _refuse(self, reason: Reason) -> bool:
        self.complied, self.reason, self._armed_by = 0, reason, None
        return False

    def _comply(self, number: int) -> bool:
        self.complied, self.reason = number, Reason.NONE
        return True

    def _arm(self, plan: Plan, drive: Drive, now: float) -> None:
        body, path, state = self._body, self._path, self._body.state
        if state is JointState.MOVING:
            self.ramp(now, "withdrawn")
        elif state is JointState.ADVANCING:
            if plan.stand_us != path.goal_us or not _unexpired(drive, body.arm(now)):
                self.ramp(now, "withdrawn")
        elif state in (JointState.RAMPING, JointState.FINISHED):
            self._refuse(Reason.NOT_ARMED)
        else:
            self._drop_pending()
            ahead_us = plan.stand_us - path.stand_us
            if plan.number <= self._served:
                self._refuse(Reason.NOT_ARMED)
            elif plan.stand_us < 0 or ahead_us < -PATH_TOLERANCE_US:
                self._refuse(Reason.ELSEWHERE)
            elif plan.stand_us > path.buffer.buffered_us:
                self._refuse(Reason.POINTS_MISSING)
            elif not body.current.settled(now):
                self._refuse(Reason.NONE)
            elif ahead_us <= PATH_TOLERANCE_US:
                self._arm_here(plan, now)
            else:
                self._refuse(Reason.NONE)
                if _unexpired(drive, body.arm(now)) and body.energised:
                    body.follow(Trigger.ARM_AHEAD)
                    path.begin_advance(body.arm(now), plan.stand_us)

    def _arm_here(self, plan: Plan, now: float) -> None:
        """Stand where the plan says: as good as there, it takes the plan's word for it."""
        body, path, last = self._body, self._path, self._path.buffer.last
        if body.state is not JointState.ARMED:
            body.follow(Trigger.ARM_HERE)
            path.began_us = None
        if last is not None and plan.stand_us >= last.time_us:
            self._finish(now)
            return
        if plan.stand_us != path.stand_us:
            self._rest(plan.stand_us, now)
        self._comply(plan.number)
        self._armed_by = plan.number

    def _go(self, plan: Plan, change: RateChange, now: float) -> bool:
        body, path = self._body, self._path
        if body.state is JointState.ADVANCING:
            self.ramp(now, "withdrawn")
            return False
        if body.state is JointState.RAMPING:
            return self._refuse(Reason.NOT_ARMED)
        if body.state is not JointState.ARMED:
            self._served = plan.number
            return self._refuse(Reason.NOT_ARMED)
        if (plan.number, plan.stand_us, change) == (self.complied, path.stand_us, path.pending):
            return True
        armed_by, self._armed_by, self._served = self._armed_by, None, plan.number
        self._drop_pending()
        if not path.stand_us == plan.stand_us == change.path_us:
            return self._refuse(Reason.ELSEWHERE)
        if body.arm(now) >= change.at_us:
            return self._refuse(Reason.LATE)
        if (
            change.before_ppm != 0
            or change.after_ppm < RATE_MIN_PPM
            or armed_by is None
            or armed_by >= plan.number
        ):
            return self._refuse(Reason.NOT_ARMED)
        path.pending = change
        self._accepted_us, self._permitted_us = now, None
        return self._comply(plan.number)

    def _override(self, plan: Plan, change: RateChange, now: float) -> bool:
        """Whether the joint moves on, by this change or by the one in force."""
        path = self._path
        # Where no bytes are between, it is nearly always this very object.
        if change is path.current or change == path.current:
            path.pending = None
            return self._comply(plan.number)
        if change == path.pending:
            return self._comply(plan.number)
        if plan.number <= self.complied or not self._continues(change, now):
            self.ramp(now, "late")
            return self._refuse(Reason.LATE)
        if path.buffer.last is None and path.room_us(change.after_ppm) < change.path_us:
            path.pending = None
            self._refuse(Reason.POINTS_MISSING)
            return True
        path.pending = change
        return self._comply(plan.number)

    def _continues(self, change: RateChange, now: float) -> bool:
        """Whether a change lies ahead on the course in force, once that has settled."""
        course, current = self._path.course, self._path.current
        if course is None or current is None or change.after_ppm < RATE_MIN_PPM:
            return False
        return (
            change.before_ppm == current.after_ppm
            and change.at_us > self._body.arm(now)
            and change.at_us >= course.settled_us - PATH_TOLERANCE_US
            and abs(course.at(change.at_us)[0] - change.path_us) <= PATH_TOLERANCE_US
        )

    def _take_permit(self, permit_us: int | None, now: float) -> None:
        body, path = self._body, self._path
        path.permit_us = permit_us
        effective_us = path.effective_permit_us()
        if body.state is JointState.ARMED:
            if effective_us is None or effective_us <= path.stand_us:
                self._permitted_us = None
            elif self._permitted_us is None:
                self._permitted_us = now
        elif effective_us is None:
            self.ramp(now, "withdrawn")
        elif not path.covers_end(effective_us) and path.at(body.arm(now)) > effective_us:
            self.ramp(now, "permit")

    def _start(self, now: float) -> None:
        body, path = self._body, self._path
        permit_us = path.effective_permit_us()
        if permit_us is None or permit_us <= path.stand_us:
            self.drop_start(Reason.LATE)
            return
        assert self._permitted_us is not None
        body.tell("resume" if path.stand_us else "start", now, plan=self.complied)
        path.begin_change()
        body.follow(Trigger.START)
        body.emit(
            Started(
                trajectory=path.buffer.trajectory,
                plan=self.complied,
                path_us=path.stand_us,
                permission_us=round(max(self._accepted_us, self._permitted_us)),
                start_us=round(now),
            )
        )

    def points_came(self, now: float) -> None:
        """More points may make a permit reach further than before."""
        if self._path.pending is not None and self._body.state is JointState.ARMED:
            self._take_permit(self._path.permit_us, now)

    def _arrive(self, goal_us: int, now: float) -> None:
        last = self._path.buffer.last
        if last is not None and goal_us >= last.time_us:
            self._finish(now)
            return
        self._rest(goal_us, now)
        self._body.follow(Trigger.ARRIVED)
        self._comply(self._newest)
        self._armed_by = self._newest

    def _hold(self, now: float) -> None:
        body, path = self._body, self._path
        assert path.course is not None
        path_us, last = round(path.course.settled_path_us), path.buffer.last
        if last is not None and path_us >= last.time_us:
            self._finish(now)
            return
        began_us = path.began_us
        self._rest(path_us, now)
        path.began_us = began_us
        body.follow(Trigger.REST)
        body.tell("hold", now)
        if (off := body.limits.outputs_off) is not None:
            body.switch(off.on_hold, 0, now)
        body.emit(
            Held(
                trajectory=path.buffer.trajectory,
                at_us=round(now),
                path_us=path_us,
                ramp_began_us=path_us if began_us is None else began_us,
                cause=self._cause,
            )
        )

    def _finish(self, now: float) -> None:
        body, path = self._body, self._path
        last = path.buffer.last
        assert last is not None
        self._rest(last.time_us, now)
        path.began_us = None
        body.follow(Trigger.LAST_POINT)
        self._refuse(Reason.NOT_ARMED)
        body.tell("finish", now)
        body.emit(
            Finished(
                trajectory=path.buffer.trajectory,
                at_us=round(now),
                position=last.position,
            )
        )

    def _switch(self, now: float) -> None:
        point = self._path.buffer.switches.popleft()
        self._body.switch(point.output_mask, point.output_values, now)

    def _rest(self, path_us: int, now: float) -> None:
        switches = self._path.buffer.switches
        while switches and switches[0].time_us <= path_us:
            self._switch(now)  # passed by the rounding, or by what another joint computes otherwise
        self._path.come_to_rest(path_us)
        self._body.stand(self._path.buffer.at(path_us)[0])


def _unexpired(drive: Drive, arm_us: float) -> bool:
    return drive.expiry_us is not None and drive.expiry_us > arm_us
