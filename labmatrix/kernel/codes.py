"""The shape of every code: of levels, cells, specimens, machines, programmes."""

from __future__ import annotations

from typing import Final

CODE_PATTERN: Final = r"^[A-Z0-9]+(-[A-Z0-9]+)*\Z"
