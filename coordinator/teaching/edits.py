"""What people ask of waypoints, sequences and programs.

Each edit is data, with `change` giving its steps and `words` what is told of it: a clause. Both
raise TaughtError for what cannot be, and NoSuch for what is not there; nothing has changed then.
"""

from coordinator.teaching.correction import Shift
from coordinator.teaching.program_edits import DeleteProgram, KeepProgram, RenameProgram
from coordinator.teaching.sequence_edits import AddSequence, DeleteSequence, RenameSequence
from coordinator.teaching.visit_edits import Duplicate, Insert, Move, Record, Remove, SetVisit
from coordinator.teaching.waypoint_edits import Overwrite, RenameWaypoint

Edit = (
    AddSequence | RenameSequence | DeleteSequence | Record | Insert | Duplicate | Remove | Move
    | SetVisit | RenameWaypoint | Overwrite | KeepProgram | RenameProgram | DeleteProgram
)  # fmt: skip
AskedEdit = Edit | Shift
"""What may be asked for: a shift has its programs rewritten before it can be made."""
