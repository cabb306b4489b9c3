"""How much something that people are told matters."""

from enum import StrEnum


class Level(StrEnum):
    """From what may be read later to what must be acted upon."""

    INFO = "info"
    ATTENTION = "attention"
    DANGER = "danger"
