"""Trouble with a disk is an error in the log while it is new, and a detail while it stays."""

import logging

import pytest

from coordinator.records.trouble_log import TroubleLog


def test_the_same_trouble_is_an_error_once_until_it_is_over(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.DEBUG)
    log = TroubleLog(logging.getLogger("disk"))
    for number, why in enumerate(("full", "full", "damaged", "damaged", "")):
        if why:
            log.add(why, f"event {number} is not kept: {why}")
        else:
            log.over()
    log.add("damaged", "event 5 is not kept: damaged")
    told = [one.message for one in caplog.records if one.levelno == logging.ERROR]
    assert told == [f"event {number} is not kept: {why}" for number, why in
                    ((0, "full"), (2, "damaged"), (5, "damaged"))]  # fmt: skip
    assert len(caplog.records) == 5
