"""Hello, welcome, proof: who may speak with the joint at all."""

import asyncio
import json
import os
import secrets
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Section, Wrong, equal, require
from coordinator.conform.stream import (
    Greeting,
    Stream,
    greet,
    hello,
    opened,
    proved,
    received,
    require_reject,
    send,
)
from protocol.constants import RELEASE_SESSION_US, US
from protocol.drive import StopLevel
from protocol.keys import Channel, Direction
from protocol.messages import Welcome

HANDSHAKE: Final = Section("handshake")
PROOFS: Final = Section("proofs-and-keys")
SESSIONS: Final = Section("sessions")


async def _greeted(bench: Bench, session: int | None = None) -> Greeting:
    return await greet(
        bench.place, bench.talk.session if session is None else session, bench.coordinator
    )


async def _says(bench: Bench, text: str | bytes, code: str) -> None:
    """Raises Wrong unless a first frame is rejected with a code."""
    socket = await opened(bench.place)
    await send(socket, text)
    await require_reject(socket, code)


def _hello(bench: Bench, **other: object) -> str:
    return hello(secrets.randbits(64), bench.coordinator, os.urandom(32), **other)


@PROOFS.check("joint", "The welcome's proof shows that the joint holds the arm's key.")
async def joint(bench: Bench) -> None:
    greeting = await _greeted(bench)
    require(greeting.is_proved, "the joint's proof over the transcript", greeting.welcome.proof)


@PROOFS.check("wrong-key", "A proof by another key is rejected with proof-wrong.")
async def wrong_key(bench: Bench) -> None:
    greeting = await _greeted(bench)
    await send(greeting.socket, greeting.proof(key=os.urandom(32)))
    await require_reject(greeting.socket, "proof-wrong")


@PROOFS.check("one-bit", "A proof that is wrong in its last bit alone is rejected.")
async def one_bit(bench: Bench) -> None:
    greeting = await _greeted(bench)
    right = json.loads(greeting.proof())
    right["proof"] = right["proof"][:-1] + f"{int(right['proof'][-1], 16) ^ 1:x}"
    await send(greeting.socket, json.dumps(right))
    await require_reject(greeting.socket, "proof-wrong")


@PROOFS.check("reflected", "The joint's own proof sent back to it is rejected.")
async def reflected(bench: Bench) -> None:
    greeting = await _greeted(bench)
    await send(greeting.socket, greeting.proof(direction=Direction.TO_COORDINATOR))
    await require_reject(greeting.socket, "proof-wrong")


@PROOFS.check("replayed", "A recorded hello and its proof, played again, are rejected.")
async def replayed(bench: Bench) -> None:
    first = await _greeted(bench)
    recorded = first.proof()
    stream = await proved(first)
    require(isinstance(stream, Stream), "a proven stream", stream)
    again = await greet(bench.place, bench.talk.session, bench.coordinator, text=first.hello)
    require(again.welcome.nonce != first.welcome.nonce, "another nonce", "the same one")
    await send(again.socket, recorded)
    await require_reject(again.socket, "proof-wrong")


@PROOFS.check(
    "stream-keys", "The ack of the proof has the tag of the key of channel 1, direction 1."
)
async def stream_keys(bench: Bench) -> None:
    greeting = await _greeted(bench)
    stream = Stream(greeting)
    await send(greeting.socket, greeting.proof())
    equal("reject", None, await stream.begin())
    equal("numbers", [1], stream.numbers)


@PROOFS.check("datagram-keys", "Status and drive have the tags of the keys of channel 2.")
async def datagram_keys(bench: Bench) -> None:
    await bench.talk.drive()
    assert bench.talk.to_joint == bench.welcome.key(Channel.DATAGRAM, Direction.TO_JOINT)


@HANDSHAKE.check("welcome", "The welcome has every field that the page has, and the joint's id.")
async def welcome(bench: Bench) -> None:
    greeting = await _greeted(bench)
    equal("id", bench.place.joint_id, greeting.welcome.id)
    missing = set(Welcome.model_fields) - set(json.loads(greeting.text))
    require(not missing, "no field left out", f"it lacks {', '.join(sorted(missing))}")


@HANDSHAKE.check("capabilities", "The welcome's capabilities have every field of the page.")
async def capabilities(bench: Bench) -> None:
    welcome = bench.welcome.welcome
    told = json.loads(bench.welcome.text)["capabilities"]
    missing = set(type(welcome.capabilities).model_fields) - set(told)
    require(not missing, "no field left out", f"it lacks {', '.join(sorted(missing))}")


@HANDSHAKE.check("nonce", "Two welcomes have two nonces and one boot number.")
async def nonce(bench: Bench) -> None:
    one, two = await _greeted(bench), await _greeted(bench)
    require(one.welcome.nonce != two.welcome.nonce, "two nonces", "one nonce twice")
    equal("boot", one.welcome.boot, two.welcome.boot)


@HANDSHAKE.check("binary", "A binary frame before the proof is rejected with handshake-order.")
async def binary(bench: Bench) -> None:
    await _says(bench, _hello(bench).encode(), "handshake-order")


@HANDSHAKE.check("proof-first", "A proof before the hello is rejected with handshake-order.")
async def proof_first(bench: Bench) -> None:
    await _says(bench, json.dumps({"type": "proof", "proof": "00" * 32}), "handshake-order")


@HANDSHAKE.check("hello-twice", "A second hello on a stream is rejected with handshake-order.")
async def hello_twice(bench: Bench) -> None:
    greeting = await _greeted(bench)
    await send(greeting.socket, greeting.hello)
    await require_reject(greeting.socket, "handshake-order")


@HANDSHAKE.check("binary-proof", "A binary frame in place of the proof is rejected, and closed.")
async def binary_proof(bench: Bench) -> None:
    greeting = await _greeted(bench)
    await send(greeting.socket, greeting.proof().encode())
    await require_reject(greeting.socket, "handshake-order")


@HANDSHAKE.check("version", "A hello of another version is rejected with protocol-version.")
async def version(bench: Bench) -> None:
    await _says(bench, _hello(bench, protocol=2), "protocol-version")


@HANDSHAKE.check("unknown-field", "A hello with a field more is rejected with message-invalid.")
async def unknown_field(bench: Bench) -> None:
    await _says(bench, _hello(bench, more=1), "message-invalid")


@HANDSHAKE.check("key-twice", "A hello with a key twice is rejected with message-invalid.")
async def key_twice(bench: Bench) -> None:
    text = _hello(bench)
    await _says(bench, text[:-1] + ',"protocol":1}', "message-invalid")


@HANDSHAKE.check("escape", "A hello with an escaped character is rejected with message-invalid.")
async def escape(bench: Bench) -> None:
    await _says(bench, _hello(bench).replace("hello", "hell\\u006f"), "message-invalid")


@HANDSHAKE.check("not-ascii", "A hello with a character beyond ASCII is message-invalid.")
async def not_ascii(bench: Bench) -> None:
    await _says(bench, _hello(bench).replace("hello", "hellö"), "message-invalid")


@HANDSHAKE.check("capitals", "Hex in capitals is rejected with message-invalid.")
async def capitals(bench: Bench) -> None:
    await _says(bench, _hello(bench, session="ABCDEF0123456789"), "message-invalid")


@HANDSHAKE.check("short-nonce", "A nonce of 31 bytes is rejected with message-invalid.")
async def short_nonce(bench: Bench) -> None:
    await _says(bench, _hello(bench, nonce="ab" * 31), "message-invalid")


@HANDSHAKE.check("text-number", "A version as a text is rejected with message-invalid.")
async def text_number(bench: Bench) -> None:
    await _says(bench, _hello(bench, protocol="1"), "message-invalid")


@HANDSHAKE.check("order-free", "White space and the order of keys in a hello are free.")
async def order_free(bench: Bench) -> None:
    fields = dict(reversed(json.loads(_hello(bench)).items()))
    socket = await opened(bench.place)
    await send(socket, "\n " + json.dumps(fields, indent=2))
    came = await received(socket)
    require(isinstance(came, str) and '"welcome"' in came, "a welcome", came)
    await socket.close()


@HANDSHAKE.check("timeout", "A stream without a proof within 5 s is rejected: handshake-timeout.")
async def timeout(bench: Bench) -> None:
    greeting = await _greeted(bench)
    # Its 5 s began with the connection, and `received` waits for 4 more.
    await asyncio.sleep(3.0)
    await require_reject(greeting.socket, "handshake-timeout")


@SESSIONS.check("keyed-new", "The welcome of a new session says null for keyed.")
async def keyed_new(bench: Bench) -> None:
    greeting = await _greeted(bench, secrets.randbits(64))
    equal("keyed", None, greeting.welcome.keyed)


@SESSIONS.check("keyed-again", "The session in force is keyed by the nonce of its first handshake.")
async def keyed_again(bench: Bench) -> None:
    greeting = await _greeted(bench)
    equal("keyed", bench.welcome.welcome.nonce, greeting.welcome.keyed)


@SESSIONS.check("stream-again", "A newly proven stream replaces the older one; drives go on.")
async def stream_again(bench: Bench) -> None:
    before, old = await bench.talk.drive(), bench.talk.stream
    await bench.again()
    await old.require_end()
    after = await bench.talk.drive()
    require(after.sequence > before.sequence, "the session's sequence goes on", after.sequence)


@SESSIONS.check("stream-gone", "A stream that closes stops nothing: drives are answered on.")
async def stream_gone(bench: Bench) -> None:
    await bench.talk.stream.close()
    await bench.talk.drive()


@SESSIONS.check("new-session", "A new session ends the keys and the clock map of the old one.")
async def new_session(bench: Bench) -> None:
    old = bench.talk
    await old.learn()
    equal("map", 1, (await old.drive()).map_number)
    other = await bench.begin()
    data, _ = old.sealed()
    await other.datagrams.require_silence(data)
    status = await other.drive()
    equal("sequence and map", (1, 0), (status.sequence, status.map_number))
    other.datagrams.close()
    await other.stream.close()
    bench.talk.datagrams.close()


@SESSIONS.check("foreign", "Another coordinator, while this one is heard, is rejected: foreign.")
async def foreign(bench: Bench) -> None:
    await bench.talk.drive()
    greeting = await greet(bench.place, secrets.randbits(64), os.urandom(16))
    await send(greeting.socket, greeting.proof())
    await require_reject(greeting.socket, "foreign")


@SESSIONS.check("foreign-later", "Another coordinator is accepted 5 s after this one was heard.")
async def foreign_later(bench: Bench) -> None:
    await bench.talk.drive()
    await asyncio.sleep(RELEASE_SESSION_US / US + 0.3)
    greeting = await greet(bench.place, secrets.randbits(64), os.urandom(16))
    stream = await proved(greeting)
    if not isinstance(stream, Stream):
        raise Wrong("another coordinator accepted", f"reject {stream}")
    # The next check comes from this coordinator again, and has to wait as long.
    await stream.close()


@SESSIONS.check("hello-overtaken", "A proof is refused once another handshake of it was finished.")
async def hello_overtaken(bench: Bench) -> None:
    session = secrets.randbits(64)
    first = await _greeted(bench, session)
    second = await proved(await _greeted(bench, session))
    require(isinstance(second, Stream), "a proven stream", second)
    await send(first.socket, first.proof())
    await require_reject(first.socket, "handshake-order")


@SESSIONS.check("events-kept", "An event with no stream there is kept, and follows the next ack.")
async def events_kept(bench: Bench) -> None:
    await bench.talk.stream.close()
    await bench.talk.until("stop 1 latched", lambda s: s.stop == 1, stop=StopLevel.STOP)
    stream = await bench.again()
    await stream.event("stopped")
    equal("frames", ["ack", "stopped"], stream.kept[:2])


@SESSIONS.check("latched", "A latched stop outlives the session.")
async def latched(bench: Bench) -> None:
    await bench.talk.until("stop 1 latched", lambda s: s.stop == 1, stop=StopLevel.STOP)
    other = await bench.begin()
    equal("stop", 1, int((await other.drive()).stop))
    other.datagrams.close()
    await other.stream.close()
