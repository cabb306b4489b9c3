"""A client for scripts and notebooks without an event loop, or beside one."""

import contextlib
import functools
import threading
from collections.abc import Callable, Coroutine, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Concatenate, ParamSpec, Self, TypeVar

from coordinator.answers.records import Event
from coordinator.client.asking import Answer, Asking
from coordinator.client.errors import ClientError
from coordinator.client.place import Place
from coordinator.client.questions import Questions
from coordinator.client.renewal import RENEW_S, Renewal
from coordinator.client.transport import ThreadTransport
from coordinator.config.settings import DEFAULT_URL

P = ParamSpec("P")
T = TypeVar("T")


def _done(work: Coroutine[Any, Any, T]) -> T:
    """What a coroutine comes to that waits for no event loop, as over ThreadTransport."""
    try:
        work.send(None)
    except StopIteration as end:
        result: T = end.value
        return result
    work.close()
    raise RuntimeError("it waits for an event loop")


def _blocking(
    method: Callable[Concatenate[Questions, P], Coroutine[Any, Any, T]],
) -> "Callable[Concatenate[Client, P], T]":
    """The same method, which waits for its answer."""

    @functools.wraps(method)
    def call(self: "Client", /, *args: P.args, **kwargs: P.kwargs) -> T:
        return _done(method(self._questions, *args, **kwargs))

    return call


class Client:
    """A connection to a coordinator; every method raises ClientError.

    Where the coordinator is not on loopback it takes a token, and its own certificate as a file:
    that one is trusted, and no other.

    Each method is the one of AsyncClient, and waits in the thread that calls it: it needs no event
    loop, and does no harm where one runs, as in a notebook.
    """

    def __init__(
        self, url: str = DEFAULT_URL, token: str = "", certificate: Path | None = None
    ) -> None:
        place = Place.at(url, token, certificate)
        self._asking = Asking(place.url, ThreadTransport(place))
        self._questions = Questions(self._asking)

    @property
    def url(self) -> str:
        """Where the coordinator is."""
        return self._asking.url

    @property
    def answers(self) -> dict[str, Answer]:
        """The newest answer of each kind as it came, for who hands it on unread."""
        return self._asking.answers

    def __enter__(self) -> Self:
        """Use as a context that closes the connection."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the connection."""
        self.close()

    close = _blocking(Questions.close)
    is_up = _blocking(Questions.is_up)
    arm = _blocking(Questions.arm)
    joints = _blocking(Questions.joints)
    arm_file = _blocking(Questions.arm_file)
    warnings = _blocking(Questions.warnings)
    alarms = _blocking(Questions.alarms)
    acknowledge = _blocking(Questions.acknowledge)
    shelve = _blocking(Questions.shelve)
    unshelve = _blocking(Questions.unshelve)
    home = _blocking(Questions.home)
    accept_home = _blocking(Questions.accept_home)
    homing = _blocking(Questions.homing)
    home_and_wait = _blocking(Questions.home_and_wait)
    update = _blocking(Questions.update)
    updating = _blocking(Questions.updating)
    cancel_update = _blocking(Questions.cancel_update)
    update_and_wait = _blocking(Questions.update_and_wait)
    survey = _blocking(Questions.survey)
    surveying = _blocking(Questions.surveying)
    cancel_survey = _blocking(Questions.cancel_survey)
    survey_and_wait = _blocking(Questions.survey_and_wait)
    bring_up = _blocking(Questions.bring_up)
    brought_up = _blocking(Questions.brought_up)
    bring_up_sheet = _blocking(Questions.bring_up_sheet)
    check = _blocking(Questions.check)
    curves = _blocking(Questions.curves)
    play = _blocking(Questions.play)
    play_and_wait = _blocking(Questions.play_and_wait)
    wait_for_run = _blocking(Questions.wait_for_run)
    run = _blocking(Questions.run)
    runs = _blocking(Questions.runs)
    last_run = _blocking(Questions.last_run)
    report = _blocking(Questions.report)
    run_record = _blocking(Questions.run_record)
    joint_history = _blocking(Questions.joint_history)
    joint_history_csv = _blocking(Questions.joint_history_csv)
    joint_wear = _blocking(Questions.joint_wear)
    joint_homings = _blocking(Questions.joint_homings)
    way_back = _blocking(Questions.way_back)
    hold = _blocking(Questions.hold)
    resume = _blocking(Questions.resume)
    stop = _blocking(Questions.stop)
    blink = _blocking(Questions.blink)
    override = _blocking(Questions.override)
    switch_output = _blocking(Questions.switch_output)
    step = _blocking(Questions.step)
    wait_until_at_rest = _blocking(Questions.wait_until_at_rest)
    taught = _blocking(Questions.taught)
    add_sequence = _blocking(Questions.add_sequence)
    record = _blocking(Questions.record)
    write_sequence = _blocking(Questions.write_sequence)
    check_sequence = _blocking(Questions.check_sequence)
    keep_program = _blocking(Questions.keep_program)
    play_taught = _blocking(Questions.play_taught)
    taught_text = _blocking(Questions.taught_text)
    delete_taught = _blocking(Questions.delete_taught)
    undo_taught = _blocking(Questions.undo_taught)
    redo_taught = _blocking(Questions.redo_taught)
    go_to = _blocking(Questions.go_to)
    queue = _blocking(Questions.queue)
    queue_add = _blocking(Questions.queue_add)
    queue_set = _blocking(Questions.queue_set)
    queue_remove = _blocking(Questions.queue_remove)
    queue_move = _blocking(Questions.queue_move)
    queue_clear = _blocking(Questions.queue_clear)
    play_queue = _blocking(Questions.play_queue)
    control = _blocking(Questions.control)
    take_control = _blocking(Questions.take_control)
    release_control = _blocking(Questions.release_control)
    events = _blocking(Questions.events)

    def follow_events(self, after: int | None = None, *, details: bool = False) -> Iterator[Event]:
        """Lines of the journal as they come, oldest first, without an end and none left out.

        `after` is the id of the last one that is known already; without it what comes from now on.
        """
        found = self._questions.follow_events(after, details=details)
        while True:
            yield _done(anext(found))  # type: ignore[arg-type]

    @contextlib.contextmanager
    def jog(self, velocities_deg_s: Mapping[str, float]) -> Iterator[None]:
        """Turn these joints, and no others, until left: at once let go then, however it is left.

        A thread says the jog again as long as this is open, whatever is done inside: also while
        that waits for you. Where it cannot be said again in time, or is refused, the joints come to
        rest by themselves within 0.3 s, and the error is raised at the end.
        """
        renewal, ended = Renewal(self._asking, velocities_deg_s), threading.Event()
        failed: list[ClientError] = []

        def renew() -> None:
            try:
                while not ended.wait(RENEW_S):
                    _done(renewal.again())
            except ClientError as error:
                failed.append(error)

        thread = threading.Thread(target=renew, daemon=True)
        try:
            _done(renewal.begin())
            thread.start()
            yield
        finally:
            ended.set()
            if thread.is_alive():
                thread.join()  # so that to let go is the last that is said
            with contextlib.suppress(ClientError):  # it ends by itself
                _done(renewal.let_go())
        if failed:
            raise failed[0]
