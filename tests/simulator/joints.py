"""A software joint's settings, for tests on real sockets."""

import secrets

from simulator.settings import JointSettings


def settings(name: str = "elbow") -> JointSettings:
    """A joint with an id that no other test has."""
    turn = 16_384_000
    return JointSettings(
        id=secrets.token_hex(6),
        name=name,
        seed=1,
        counts_per_turn=turn,
        home_centre=0,
        home_half_width=turn // 360,
        start_low=turn // 72,
        start_high=turn // 36,
    )
