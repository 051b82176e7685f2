"""Text that every database and every file can hold."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from labmatrix.kernel.errors import ShapeError


def check_storable(value: Any, *, argument: str) -> None:
    """Refuse NUL characters and lone surrogates anywhere in JSON-like data.

    Raises:
        ShapeError: ``input.text``.
    """
    if isinstance(value, str):
        if "\x00" in value or any("\ud800" <= char <= "\udfff" for char in value):
            raise ShapeError(
                "input.text",
                f"{argument} holds a character that cannot be stored (NUL or half a pair).",
                argument=argument,
            )
    elif isinstance(value, Mapping):
        for key, item in value.items():
            check_storable(key, argument=argument)
            check_storable(item, argument=f"{argument}.{key}" if isinstance(key, str) else argument)
    elif isinstance(value, list | tuple):
        for item in value:
            check_storable(item, argument=argument)
