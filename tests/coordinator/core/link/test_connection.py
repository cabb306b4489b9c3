"""The connection to one joint: what holds whatever happens to it, in whatever order."""

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from coordinator.core.events import StreamAddress
from coordinator.core.link.connection import (
    RETRY_FIRST_US,
    RETRY_LAST_US,
    Connection,
    LinkState,
)
from protocol.messages import Capabilities, Welcome

HERE, THERE = (StreamAddress(host, 80, "/joint") for host in ("10.0.0.1", "10.0.0.2"))
ADDRESSES = st.sampled_from((HERE, THERE))


def welcome(boot: int = 7) -> Welcome:
    return Welcome(
        id="0" * 12, firmware="1", boot=boot, nonce="2" * 64, proof="3" * 64, udp=9000,
        capabilities=Capabilities(point_capacity=512, max_step_rate_hz=250_000),
    )  # fmt: skip


def connected(boot: int = 7) -> Connection:
    connection = Connection(HERE)
    connection.connecting(HERE, 0)
    connection.linked(welcome(boot), 0)
    return connection


class AnyLife(RuleBasedStateMachine):
    """Whatever a network and a joint may do to a connection."""

    @initialize(fixed=st.booleans())
    def begin(self, fixed: bool) -> None:
        self.now = 0
        self.connection = Connection(HERE if fixed else None)

    @rule(us=st.integers(0, 3_000_000))
    def time_passes(self, us: int) -> None:
        self.now += us

    @rule(address=ADDRESSES, instance=st.sampled_from(("a", "b")))
    def is_announced(self, address: StreamAddress, instance: str) -> None:
        is_new = address not in self.connection.addresses
        self.connection.announced(address, instance, self.now)
        if is_new and not self.connection.up:
            assert self.connection.retry_us == self.now

    @rule(instance=st.sampled_from(("a", "b", "stranger")))
    def goodbye_is_heard(self, instance: str) -> None:
        before = self.connection.state, self.connection.retry_us
        self.connection.goodbye(instance)
        assert (self.connection.state, self.connection.retry_us) == before

    @precondition(lambda self: len(self.connection.addresses) > 0)
    @rule(address=ADDRESSES)
    def stream_is_opened(self, address: StreamAddress) -> None:
        if address in self.connection.addresses:
            self.connection.connecting(address, self.now)

    @precondition(lambda self: self.connection.connecting_to is not None)
    @rule(boot=st.integers(1, 3))
    def joint_proves_itself(self, boot: int) -> None:
        known = self.connection.welcome
        was_configured = self.connection.configured
        rebooted = self.connection.linked(welcome(boot), self.now)
        assert self.connection.up
        assert rebooted == (known is not None and known.boot != boot)
        same_boot = known is not None and not rebooted
        assert self.connection.configured == (same_boot and was_configured)

    @rule(
        state=st.sampled_from((LinkState.OFFLINE, LinkState.REFUSED)),
        code=st.sampled_from(("unreachable", "busy")),
    )
    def stream_ends(self, state: LinkState, code: str) -> None:
        self.connection.dropped(state, code, "it ended", self.now)
        assert self.connection.state is state
        assert not self.connection.is_news(code), "the same end is told once"
        assert self.connection.retry_us is not None
        wait_us = self.connection.retry_us - self.now
        assert RETRY_FIRST_US <= wait_us <= RETRY_LAST_US

    @rule()
    def session_begins(self) -> None:
        self.connection.begin_session(self.now)
        assert not self.connection.in_session
        assert self.connection.retry_us == self.now

    @precondition(lambda self: self.connection.up)
    @rule()
    def configuration_is_taken(self) -> None:
        self.connection.configuration_taken()

    @invariant()
    def state_and_what_belongs_to_it_agree(self) -> None:
        one = self.connection
        if one.up:
            assert (one.connecting_to, one.retry_us) == (None, None)
            assert one.address is not None
            assert one.in_session
        if one.state is LinkState.CONNECTING:
            assert one.connecting_to is not None
        assert not (one.configured and one.welcome is None), "configured by nobody"

    @invariant()
    def what_is_not_connected_will_be_tried_again(self) -> None:
        one = self.connection
        if not one.up and len(one.addresses):
            assert one.connecting_to is not None or one.retry_us is not None


TestAnyLife = AnyLife.TestCase


def test_attempts_come_further_and_further_apart_until_one_succeeds() -> None:
    connection = Connection(HERE)
    waits_us = []
    for _ in range(6):
        connection.dropped(LinkState.OFFLINE, "unreachable", "it is not there", 0)
        waits_us.append(connection.retry_us)
    assert waits_us == [200_000, 400_000, 800_000, 1_600_000, 2_000_000, 2_000_000]
    connection.connecting(HERE, 0)
    connection.linked(welcome(), 0)
    connection.dropped(LinkState.OFFLINE, "unreachable", "it is not there", 0)
    assert connection.retry_us == 200_000


def test_a_joint_that_refused_stays_refused_until_it_takes_us() -> None:
    connection = Connection(HERE)
    connection.dropped(LinkState.REFUSED, "busy", "another coordinator has it", 0)
    connection.connecting(HERE, 1)
    assert connection.state is LinkState.REFUSED
    connection.linked(welcome(), 2)
    assert connection.up


def test_an_end_of_the_same_kind_is_news_again_once_the_stream_was_up() -> None:
    connection = Connection(HERE)
    assert connection.is_news("busy")
    connection.dropped(LinkState.REFUSED, "busy", "another coordinator has it", 0)
    assert not connection.is_news("busy")
    assert connection.is_news("key-wrong")
    connection.connecting(HERE, 1)
    connection.linked(welcome(), 2)
    connection.dropped(LinkState.OFFLINE, "unreachable", "it is gone", 3)
    assert connection.is_news("busy")


def test_a_stream_that_ended_leaves_the_session_and_its_configuration() -> None:
    connection = connected()
    connection.configuration_taken()
    connection.dropped(LinkState.OFFLINE, "unreachable", "it is gone", 1)
    assert connection.in_session
    assert connection.configured


def test_only_a_joint_that_is_gone_anyway_is_said_to_have_said_goodbye() -> None:
    connection = connected()
    connection.announced(HERE, "tip", 0)
    connection.goodbye("tip")
    assert (connection.up, connection.message) == (True, "")
    connection.dropped(LinkState.OFFLINE, "unreachable", "connection refused", 1)
    assert connection.message == "it said goodbye"


def test_streams_and_boots_are_counted() -> None:
    connection = connected(boot=1)
    for boot in (1, 2, 2, 3):
        connection.dropped(LinkState.OFFLINE, "unreachable", "it is gone", 1)
        connection.connecting(HERE, 2)
        connection.linked(welcome(boot), 3)
    assert (connection.streams, connection.boots_seen) == (5, 2)


def test_what_a_joint_says_against_its_configuration_is_kept_for_people() -> None:
    connection = connected()
    connection.configuration_taken()
    connection.configuration_refused("the ramp is too steep")
    assert not connection.configured
    told = connection.configuration_message
    assert told == "does not take its configuration: the ramp is too steep"
    assert connection.message == "", "its stream is up, whatever it says of its figures"
    connection.configuration_taken()
    assert connection.configuration_message == ""
    connection.configuration_unanswered()
    assert not connection.configured


def test_a_new_address_is_tried_at_once_unless_a_stream_is_open() -> None:
    connection = Connection(HERE)
    connection.connecting(HERE, 1)
    connection.announced(THERE, "tip", 2)
    tried_us = [connection.retry_us]
    connection.linked(welcome(), 3)
    tried_us.append(connection.retry_us)
    connection.announced(StreamAddress("10.0.0.3", 80, "/joint"), "tip", 4)
    assert [*tried_us, connection.retry_us] == [2, None, None]


def test_another_boot_and_another_session_have_no_configuration_yet() -> None:
    connection = connected(boot=1)
    connection.configuration_taken()
    connection.connecting(HERE, 1)
    connection.linked(welcome(boot=2), 2)
    after_boot = connection.configured
    connection.configuration_taken()
    connection.begin_session(3)
    assert (after_boot, connection.configured) == (False, False)
