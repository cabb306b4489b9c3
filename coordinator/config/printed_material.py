"""Of what a joint is printed, and how warm that may get."""

from typing import Final

GLASS_TRANSITION_C: Final = {"PLA": 59.0, "PETG": 77.0, "ABS": 100.0}
"""Above it a print goes soft. By makers' sheets as filamentspecs.com cites them; of ABS, for which
these say 100 to 105 °C, the lower one."""
MARGIN_C: Final = 4.0
"""Of the default limit below that: the sensor may be off by 2 °C (TMP3x data sheet, Analog
Devices), and one maker's filament from another's by about as much (an assumption)."""


def default_limit_c(material: str) -> float | None:
    """The limit where the arm file gives none; None for a material that is not known here."""
    softens_c = GLASS_TRANSITION_C.get(material)
    return None if softens_c is None else softens_c - MARGIN_C
