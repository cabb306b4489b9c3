"""All that can be asked of a coordinator, whatever carries it (`transport.py`).

A file for each subject. Names, units and errors are those of both clients: the methods of `Client`
are these.
"""

from coordinator.client.questions.alarms import AlarmQuestions
from coordinator.client.questions.bring_up import BringUpQuestions
from coordinator.client.questions.commands import CommandQuestions
from coordinator.client.questions.firmware import FirmwareQuestions
from coordinator.client.questions.going import GoingQuestions
from coordinator.client.questions.history import HistoryQuestions
from coordinator.client.questions.homing import HomingQuestions
from coordinator.client.questions.journal import JournalQuestions
from coordinator.client.questions.queue import QueueQuestions
from coordinator.client.questions.surveys import SurveyQuestions


class Questions(
    AlarmQuestions,
    HomingQuestions,
    FirmwareQuestions,
    BringUpQuestions,
    SurveyQuestions,
    CommandQuestions,
    GoingQuestions,
    QueueQuestions,
    HistoryQuestions,
    JournalQuestions,
):
    """A coordinator, asked over any transport; every method raises ClientError."""
