"""Text that every database and every file can hold."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from typing import Any

from labmatrix.kernel.errors import ShapeError

# Characters that turn the direction of what follows: a name could read as another one.
TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")

NARROW_SPACE = "\u202f"


def grouped(count: float) -> str:
    """A count in groups of three digits from five digits on, as in ISO 80000-1:2022 (recalled)."""
    return f"{count:,.0f}".replace(",", NARROW_SPACE if abs(count) >= 9999.5 else "")


def unseen_characters(text: str, *, allowed: str = "") -> list[str]:
    """The characters of a text that cannot be seen or that turn its direction, in order."""
    if text.isprintable():  # of nothing but letters, digits, marks, symbols and blanks
        return []
    return [
        character
        for character in text
        if character in TURNING
        or (unicodedata.category(character) in ("Cc", "Cs") and character not in allowed)
    ]


def check_seen(text: str, *, argument: str, at_most: int) -> str:
    """A name on one line, without blanks at its ends; it may be empty.

    Raises:
        ShapeError: ``text.long`` or ``text.characters``.
    """
    tidy = text.strip()
    if len(tidy) > at_most:
        raise ShapeError(
            "text.long",
            f"{argument} has {len(tidy)} characters; allowed are {at_most}.",
            argument=argument,
            characters=len(tidy),
            allowed=at_most,
        )
    for character in unseen_characters(tidy):
        raise ShapeError(
            "text.characters",
            f"{argument} holds the character U+{ord(character):04X}, which cannot be seen; "
            "allowed are characters that can.",
            argument=argument,
        )
    return tidy


def check_storable(value: Any, *, argument: str) -> None:
    """Refuse NUL characters and lone surrogates anywhere in JSON-like data.

    Raises:
        ShapeError: ``input.text``.
    """
    if isinstance(value, str):
        halves = not value.isascii() and any("\ud800" <= char <= "\udfff" for char in value)
        if halves or "\x00" in value:
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
