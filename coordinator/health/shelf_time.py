"""For how long an alarm may be shelved."""

from typing import Final

SHELF_LEAST_S: Final = 60
"""Below that, to acknowledge does as well."""
SHELF_MOST_S: Final = 28_800
"""Eight hours, a shift: whoever comes next is told again."""
SHELF_USUAL_S: Final = 3_600
