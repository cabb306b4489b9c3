"""What people chose last is there the next time."""

from pathlib import Path

from coordinator.records.choices import Choices
from coordinator.store import Store


async def test_last_choice_is_known_after_a_restart(tmp_path: Path) -> None:
    store = Store(tmp_path)
    choices = Choices(store)
    assert await choices.last("network") is None
    choices.remember("network", {"name": "home"})
    choices.remember("network", {"name": "busy"})
    await store.close()
    store = Store(tmp_path)
    assert await Choices(store).last("network") == {"name": "busy"}
    await store.close()
