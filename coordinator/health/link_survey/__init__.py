"""What a survey of a joint's link at rest says: every exchange of a minute, judged (docs/link.md).

`exchanges.py` keeps them, `joint_survey.py` makes the figures, `findings.py` the words; `loss.py`,
`allan.py`, `ways.py`, `clock_figures.py` and `power_save.py` are what the figures are made by;
`multicast.py` what becomes of multicasts.
"""

from typing import Final

USUAL_FOR_S: Final = 60.0
"""1,500 exchanges at the active rate."""
LEAST_FOR_S: Final = 10.0
"""With less there are too few exchanges to tell anything."""
MOST_FOR_S: Final = 600.0
"""Every exchange is kept until it is over."""
