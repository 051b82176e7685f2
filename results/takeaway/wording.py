"""Text that does no harm in a file: nothing turns the reading direction, nothing is a formula."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

from results.export import Cell, neutral

# Characters that turn the direction of what follows: a name could read as another one.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")
_NOT_IN_NAMES = re.compile(r"[^A-Za-z0-9._-]+")


def plain_text(text: str) -> str:
    """Text on one line without control characters and without marks that turn its direction."""
    kept = (" " if c in "\n\r\t" else c for c in text if c not in _TURNING)
    return "".join(c for c in kept if unicodedata.category(c) not in ("Cc", "Cs"))


def safe_cell(value: Any) -> Cell:
    """A cell for a spreadsheet: text made plain and no formula; nothing becomes empty text."""
    return neutral(plain_text(value) if isinstance(value, str) else value)


def file_name(*parts: str, ending: str) -> str:
    """A name that every file system takes: ``QS-peak_load-comparison.csv``."""
    stem = "-".join(_NOT_IN_NAMES.sub("-", part).strip("-.") for part in parts if part)
    return f"{stem[:120]}.{ending}"
