"""A picture of what happened: one lane per joint, path time and state over time, and the events."""

from html import escape

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.world import World
from protocol.states import JointState
from tests.campaign.scenario import Scenario
from tests.campaign.truth import path_us, state_of

WIDTH, LEFT, LANE, TOP = 1200, 90, 70, 60
STEP_US = 20_000
SVG = "http://www.w3.org/2000/svg"
FONT = 'font-family="sans-serif" font-size="11"'
COLOURS = {
    JointState.MOVING: "#2b6cb0",
    JointState.RAMPING: "#c05621",
    JointState.ADVANCING: "#2c7a7b",
    JointState.HOMING: "#6b46c1",
    JointState.JOGGING: "#6b46c1",
    JointState.STOPPING: "#9b2c2c",
    JointState.FAULTED: "#e53e3e",
    JointState.UNHOMED: "#a0aec0",
    JointState.ARMED: "#68a063",
    JointState.HELD: "#d69e2e",
}


class Lanes:
    """Keeps what the picture shows."""

    def __init__(self) -> None:
        self.world: World
        self.marks: list[tuple[int, str]] = []
        self._rows: dict[str, list[tuple[int, JointState, float]]] = {}

    def begin(self, world: World) -> None:
        """The world is made."""
        self.world = world
        self._rows = {joint_id: [] for joint_id in world.nodes}

    def touched(self, node: Node) -> None:
        """Something happened in a joint."""
        row, now, state = self._rows[node.id], self.world.now, state_of(node)
        if row and row[-1][1] is state and now - row[-1][0] < STEP_US:
            return
        row.append((now, state, path_us(node, node.unit.joint_us(now))))

    def commanded(self, laptop: int, command: ev.Command) -> None:
        """The operator's command was accepted."""
        self.marks.append((self.world.now, f"{type(command).__name__.lower()} @{laptop}"))

    def svg(self, scenario: Scenario, title: str, from_us: int, to_us: int) -> str:
        """The picture from one true time to another."""
        nodes = list(self.world.nodes.values())
        height = TOP + LANE * len(nodes) + 60
        span = max(1, to_us - from_us)
        end = max((path for row in self._rows.values() for at, _, path in row if at >= from_us),
                  default=1.0) or 1.0  # fmt: skip

        def x(at_us: int) -> float:
            return LEFT + (WIDTH - LEFT - 10) * (at_us - from_us) / span

        out = [
            f'<svg xmlns="{SVG}" width="{WIDTH}" height="{height}" {FONT}>',
            f'<rect width="{WIDTH}" height="{height}" fill="white"/>',
            f'<text x="10" y="18" font-size="13">{escape(title)}</text>',
        ]
        for k, node in enumerate(nodes):
            base = TOP + LANE * (k + 1) - 12
            out.append(f'<text x="8" y="{base - 20}">{escape(node.name)}</text>')
            out.append(f'<path d="M{LEFT} {base}H{WIDTH - 10}" stroke="#ddd"/>')
            rows = [one for one in self._rows[node.id] if from_us <= one[0] <= to_us]
            points = " ".join(
                f"{x(at):.1f},{base - 8 - (LANE - 26) * path / end:.1f}" for at, _, path in rows
            )
            out.append(f'<polyline points="{points}" fill="none" stroke="#444"/>')
            for (at, state, _), after in zip(rows, [*rows[1:], None], strict=True):
                until = after[0] if after else to_us
                colour = COLOURS.get(state, "#e2e8f0")
                out.append(
                    f'<rect x="{x(at):.1f}" y="{base - 5}" width="{x(until) - x(at):.2f}" '
                    f'height="8" fill="{colour}"><title>{state.word}</title></rect>'
                )
        marks = [*self.marks, *((note.at_us, note.code) for note in self.world.notes)]
        for k, (at, text) in enumerate(sorted(m for m in marks if from_us <= m[0] <= to_us)):
            y = 30 + 10 * (k % 3)
            out.append(f'<path d="M{x(at):.1f} {y}V{height - 50}" stroke="#bbb" '
                       'stroke-dasharray="2 3"/>')  # fmt: skip
            out.append(f'<text x="{x(at) + 2:.1f}" y="{y + 4}" font-size="9">{escape(text)}</text>')
        for k, (state, colour) in enumerate(COLOURS.items()):
            left = LEFT + k * 105
            out.append(f'<rect x="{left}" y="{height - 34}" width="10" height="8" fill="{colour}"/>'
                       f'<text x="{left + 14}" y="{height - 26}">{state.word}</text>')  # fmt: skip
        out.append(
            f'<text x="{LEFT}" y="{height - 8}">{from_us / 1e6:.3f} s to {to_us / 1e6:.3f} s; '
            f"profile {scenario.profile}, seed {scenario.seed}</text></svg>"
        )
        return "\n".join(out)
