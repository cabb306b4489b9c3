"""An observer of a world that looks at nothing: tests look at what they are about."""

from coordinator.core import events as ev
from protocol.drive import Drive
from protocol.status import Status
from simulator.network import Direction


class Onlooker:
    """Each method does nothing unless overridden."""

    def sent(self, laptop: int, joint_id: str, drive: Drive) -> None:
        pass

    def carried(self, joint_id: str, way: Direction, message: object) -> None:
        pass

    def drove(self, joint_id: str, laptop: int, drive: Drive, status: Status | None) -> None:
        pass

    def forged(self, joint_id: str, what: str, *, taken: bool) -> None:
        pass

    def touched(self, joint_id: str) -> None:
        pass

    def heard(self, laptop: int, joint_id: str) -> None:
        pass

    def commanded(self, laptop: int, command: ev.Command) -> None:
        pass

    def crashed(self, laptop: int) -> None:
        pass

    def slept(self, laptop: int, slept_us: int) -> None:
        pass

    def rebooted(self, joint_id: str) -> None:
        pass
