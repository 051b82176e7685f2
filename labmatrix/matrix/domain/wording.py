"""Texts that people write: tidied, and refused where they could not be stored or would mislead."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from typing import Any

from labmatrix.kernel.errors import ShapeError

# Characters that turn the direction of what follows: a label could read as another one.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")


def check_text(
    text: str, *, argument: str, at_most: int, may_be_empty: bool = False, lines: bool = False
) -> str:
    """The text without blanks at its ends.

    Args:
        text: what a person wrote.
        argument: its name in the sentence of a refusal.
        at_most: the number of characters allowed.
        may_be_empty: whether nothing is allowed too.
        lines: whether it may hold several lines.

    Raises:
        ShapeError: ``text.empty``, ``text.long`` or ``text.characters``.
    """
    tidy = text.replace("\r\n", "\n").strip()
    if not tidy and not may_be_empty:
        raise ShapeError("text.empty", f"{argument} is empty; a text is needed.", argument=argument)
    if len(tidy) > at_most:
        raise ShapeError(
            "text.long",
            f"{argument} has {len(tidy)} characters; allowed are {at_most}.",
            argument=argument,
            characters=len(tidy),
            allowed=at_most,
        )
    allowed = frozenset("\n\t") if lines else frozenset()
    for character in tidy:
        if character in _TURNING or (
            unicodedata.category(character) in ("Cc", "Cs") and character not in allowed
        ):
            raise ShapeError(
                "text.characters",
                f"{argument} holds the character U+{ord(character):04X}, which cannot be seen; "
                "allowed are characters that can.",
                argument=argument,
            )
    return tidy


def as_sentence(text: str) -> str:
    """A person's text as the end of a sentence of ours: with a full stop if it has no end."""
    return text if text.endswith((".", "!", "?")) else f"{text}."


def value_in_words(value: Any, at_most: int = 240) -> str:
    """Planned data as a person reads it: lists and objects on one line, nothing as "none"."""
    words = _words(value) or "none"
    return words if len(words) <= at_most else f"{words[: at_most - 2]} …"


def _words(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{str(k).replace('_', ' ')} {_words(v)}" for k, v in value.items())
    if isinstance(value, list | tuple):
        mark = "; " if any(isinstance(item, Mapping | list | tuple) for item in value) else ", "
        return mark.join(_words(item) for item in value)
    return f"{value:.12g}" if isinstance(value, float) else str(value)
