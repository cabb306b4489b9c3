"""Requests on a joint's stream: each is answered once."""

import pytest

from coordinator.core.events import Content
from coordinator.core.link.requests import DELIVERIES, Answer, Requests
from protocol.image import ImageFrame
from protocol.messages import Blink, Install, Reject, Update

REJECT = Reject(ref=9, code="not-at-rest", message="it moves")


class Answers:
    """What came back."""

    def __init__(self) -> None:
        self.codes: list[str] = []

    def keep(self) -> Answer:
        return lambda reject, now: self.codes.append(reject.code if reject else "ack")


def test_each_answer_goes_to_whoever_asked() -> None:
    requests, first, second = Requests("0a0b0c"), Answers(), Answers()
    frame = requests.request(1, Blink(), first.keep(), 0)
    assert (frame.joint_id, frame.token) == ("0a0b0c", 1)
    requests.request(2, Blink(), second.keep(), 0)
    requests.frame_sent(1, 8, 0)
    requests.frame_sent(2, 9, 0)
    requests.answered(9, REJECT, 5)
    requests.answered(8, None, 5)
    assert (first.codes, second.codes) == (["ack"], ["not-at-rest"])


def test_an_answer_that_nobody_waits_for_or_that_comes_twice_is_ignored() -> None:
    requests, answers = Requests("0a0b0c"), Answers()
    requests.request(1, Blink(), answers.keep(), 0)
    requests.answered(3, None, 1)
    requests.frame_sent(1, 3, 2)
    requests.answered(3, None, 3)
    requests.answered(3, None, 4)
    assert answers.codes == ["ack"]


def test_when_the_stream_ends_whatever_waits_is_rejected_sent_or_not() -> None:
    requests, answers = Requests("0a0b0c"), Answers()
    requests.request(1, Blink(), answers.keep(), 0)
    requests.request(2, Blink(), answers.keep(), 0)
    requests.frame_sent(1, 8, 0)
    assert len(requests) == 2
    requests.answer_all("the stream ended", 5)
    requests.answered(8, None, 6)
    assert answers.codes == ["stream-closed", "stream-closed"]
    assert len(requests) == 0


def test_what_is_asked_in_answer_to_a_streams_end_waits_for_the_next_one() -> None:
    requests, answers = Requests("0a0b0c"), Answers()

    def again(reject: Reject | None, now: int) -> None:
        requests.request(2, Blink(), answers.keep(), now)

    requests.request(1, Blink(), again, 0)
    requests.answer_all("the stream ended", 5)
    assert len(requests) == 1
    assert answers.codes == []


def test_delivery_time_runs_from_when_the_frame_was_sent_and_forgets_the_oldest() -> None:
    requests, answers = Requests("0a0b0c"), Answers()
    assert requests.delivery_p995_us == 0
    for number in range(DELIVERIES + 1):
        requests.request(number, Blink(), answers.keep(), 0)
        requests.frame_sent(number, number, 1_000)
        requests.answered(number, None, 1_000 + (90_000 if number == 0 else 20))
        if number == 1:
            assert requests.delivery_p995_us == 90_000
    assert requests.delivery_p995_us == 20


@pytest.mark.parametrize(
    "asked", [Update(header="0" * 200, signature="0" * 128), ImageFrame(0, b"new"), Install()]
)
def test_what_an_update_takes_is_no_delivery_time(asked: Content) -> None:
    requests, answers = Requests("0a0b0c"), Answers()
    for token, content, took_us in ((1, Blink(), 20), (2, asked, 9_000_000)):
        requests.request(token, content, answers.keep(), 0)
        requests.frame_sent(token, token, 0)
        requests.answered(token, None, took_us)
    assert answers.codes == ["ack", "ack"]
    assert requests.delivery_p995_us == 20
