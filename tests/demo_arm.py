"""Places in the demo arm's file, which tests spoil on purpose."""

from coordinator.config.settings import DEMO_ARM


def line_of(words: str) -> int:
    """The line on which these words first stand."""
    before, found, _ = DEMO_ARM.read_text().partition(words)
    assert found, words
    return before.count("\n") + 1
