"""The page in the browser: static ES modules, no build step."""

from pathlib import Path
from typing import Final

WEB: Final = Path(__file__).parent
