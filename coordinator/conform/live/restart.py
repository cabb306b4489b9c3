"""What a restart of the joint forgets. It is restarted by a command of the operator's."""

import asyncio
import secrets
import shlex
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Lost, NotMade, Section, Wrong, equal
from coordinator.conform.datagrams import Datagrams
from coordinator.conform.stream import Stream, greet, proved
from coordinator.conform.talk import Talk
from coordinator.links.clock import arm_now_us
from protocol.messages import Clear, Prepare
from protocol.points import Point
from protocol.states import JointState

SESSIONS: Final = Section("sessions")
BOOT_S: Final = 60.0
COMMAND_S: Final = 60.0


async def _restart(bench: Bench) -> int:
    """Restart it; the boot number before. Raises NotMade, Wrong."""
    command, before = bench.require_reboot_command(), bench.welcome.welcome.boot
    await bench.end()
    process = await asyncio.create_subprocess_exec(
        *shlex.split(command),
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.DEVNULL,
    )
    try:
        async with asyncio.timeout(COMMAND_S):
            code = await process.wait()
    except TimeoutError:
        process.kill()
        await process.wait()
        raise NotMade(f"--reboot-command did not end within {COMMAND_S:g} s") from None
    if code:
        raise NotMade(f"--reboot-command ended with exit code {code}")
    return before


async def _booted(bench: Bench, before: int) -> Talk:
    """A session with the joint that has restarted, unconfigured. Raises Wrong."""
    end_us = arm_now_us() + round(BOOT_S * 1e6)
    came = "nobody answers"
    while arm_now_us() < end_us:
        try:
            greeting = await greet(bench.place, secrets.randbits(64), bench.coordinator)
            if greeting.welcome.boot != before:
                stream = await proved(greeting)
                if not isinstance(stream, Stream):
                    raise Wrong("a session after the restart", f"reject {stream}")
                datagrams = await Datagrams.open(bench.place.host, greeting.welcome.udp)
                bench.adopt(
                    Talk(greeting.transcript.session, stream, datagrams, bench.target.may_move)
                )
                return bench.talk
            came = f"boot number {before} still"
            await greeting.socket.close()
        except Lost as error:
            came = str(error)
        await asyncio.sleep(0.3)
    raise Wrong(f"another boot number within {BOOT_S:g} s", came)


@SESSIONS.check(
    "reboot", "A restart: another boot number, no configuration, unhomed, outputs off.", moves=True
)
async def reboot(bench: Bench) -> None:
    talk = await _booted(bench, await _restart(bench))
    equal("configuration", None, bench.welcome.welcome.configuration)
    status = await talk.drive()
    equal(
        "state, homed, energised, stop, outputs",
        (JointState.UNHOMED, False, False, 0, 0),
        (status.state, status.homed, status.energised, int(status.stop), status.outputs),
    )


@SESSIONS.check(
    "reboot-requests", "Before a configuration, points and prepare are not-configured.", moves=True
)
async def reboot_requests(bench: Bench) -> None:
    talk = await _booted(bench, await _restart(bench))
    await talk.require(Prepare(trajectory=7), "not-configured")
    equal("answer", "not-configured", await talk.points([Point(0, 0, 0)]))
    await talk.require(Clear())


@SESSIONS.check(
    "reboot-drives", "After a restart a drive of the old session is not answered.", moves=True
)
async def reboot_drives(bench: Bench) -> None:
    old, _ = bench.talk.sealed()
    talk = await _booted(bench, await _restart(bench))
    await talk.refused(old)
