"""A goodbye that somebody else says for a joint."""

import time
from typing import Final

from tests.lab.forgeries import goodbye
from tests.lab.judge import assert_goes_on
from tests.lab.lab import Lab

GOODBYE_S: Final = 1.5
"""A goodbye counts one second after it was heard (RFC 6762 section 10.1)."""


def test_false_goodbye_neither_stops_an_arm_that_moves_nor_keeps_one_from_playing(
    lab: Lab,
) -> None:
    lab.ready()
    run, since = lab.moves()
    goodbye(lab)
    assert_goes_on(lab, run, since)
    lab.rest()
    goodbye(lab)
    time.sleep(GOODBYE_S)
    lab.plays()
