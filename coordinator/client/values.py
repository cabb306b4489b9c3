"""The values that a client's methods give, by the names under which a script finds them.

They take a moment to import, with what is behind them, which a stop must not wait for: the methods
import them once there is an answer to read.
"""

from coordinator.answers.bring_up import BringUp, BringUpSaid, BringUpStep
from coordinator.answers.control import ControlAsked
from coordinator.answers.joint_history import HopWear, JointHistory, JointWear, Readings
from coordinator.answers.joint_homings import JointHomings
from coordinator.answers.queue import Queue, QueueEntry
from coordinator.answers.records import Event, RunInShort
from coordinator.answers.report import KeptReport
from coordinator.answers.run import RunGoing, RunOver
from coordinator.answers.taught import TaughtSnapshot
from coordinator.core.condition import Condition
from coordinator.core.events import Note
from coordinator.core.homing import HomingSnapshot
from coordinator.core.run.production import Cycle, Delay, Interventions, Production
from coordinator.core.run.report import HoldRecord
from coordinator.core.run.report_snapshot import StartReport
from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.core.snapshot.joint import JointSnapshot
from coordinator.core.snapshot.run import RunSnapshot
from coordinator.core.snapshot.warning import (
    AlarmsSnapshot,
    FloodSnapshot,
    ShelfSnapshot,
    WarningSnapshot,
)
from coordinator.core.start_forecast import StartForecast
from coordinator.core.surveying import SurveySnapshot
from coordinator.core.updating.updates import UpdateSnapshot
from coordinator.health.heat_report import Estimate, HeatReport, TimeLeft
from coordinator.health.home_drift import HomeFigure, HomePlace
from coordinator.health.link_survey.clock_figures import ClockFigures, Stability
from coordinator.health.link_survey.findings import LinkFinding
from coordinator.health.link_survey.joint_survey import JointSurvey, LinkFigures
from coordinator.health.link_survey.multicast import MulticastFigures
from coordinator.health.link_survey.power_save import PowerSave
from coordinator.motion.check import CheckResult, Overtravels, SlowerCorner
from coordinator.motion.curves import Curves
from coordinator.motion.marks import CurveMark
from coordinator.motion.seam import Seam
from coordinator.programs import Problem
from coordinator.teaching.taught import Sequence, Visit, Waypoint

__all__ = [
    "AlarmsSnapshot",
    "ArmSnapshot",
    "BringUp",
    "BringUpSaid",
    "BringUpStep",
    "CheckResult",
    "ClockFigures",
    "Condition",
    "ControlAsked",
    "CurveMark",
    "Curves",
    "Cycle",
    "Delay",
    "Estimate",
    "Event",
    "FloodSnapshot",
    "HeatReport",
    "HoldRecord",
    "HomeFigure",
    "HomePlace",
    "HomingSnapshot",
    "HopWear",
    "Interventions",
    "JointHistory",
    "JointHomings",
    "JointSnapshot",
    "JointSurvey",
    "JointWear",
    "KeptReport",
    "LinkFigures",
    "LinkFinding",
    "MulticastFigures",
    "Note",
    "Overtravels",
    "PowerSave",
    "Problem",
    "Production",
    "Queue",
    "QueueEntry",
    "Readings",
    "RunGoing",
    "RunInShort",
    "RunOver",
    "RunSnapshot",
    "Seam",
    "Sequence",
    "ShelfSnapshot",
    "SlowerCorner",
    "Stability",
    "StartForecast",
    "StartReport",
    "SurveySnapshot",
    "TaughtSnapshot",
    "TimeLeft",
    "UpdateSnapshot",
    "Visit",
    "WarningSnapshot",
    "Waypoint",
]
