"""Canonical JSON and hashing: the same facts give the same bytes on every machine.

Follows RFC 8785 in what it orders and leaves out (keys sorted, no white space, UTF-8, shortest
round-trip floats), but numbers are written as Python writes them: the bytes are stored as text
and hashed as stored, so no second implementation needs to reproduce them.
"""

from __future__ import annotations

import hashlib
import json
import math
import uuid
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from labmatrix.kernel.clock import iso

# Most of what is written is of these; subclasses are looked at one by one.
_AS_THEY_ARE = frozenset({str, int, bool, type(None)})


def _plain(value: Any) -> Any:
    if type(value) in _AS_THEY_ARE or isinstance(value, bool | str | int):
        return value
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError("canonical JSON holds finite numbers only")
        # 2.0 and 2 are one number: a unit conversion must not change a key.
        return int(value) if value.is_integer() and abs(value) < 2**53 else value
    if isinstance(value, dict | Mapping):
        return {_key(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Decimal | uuid.UUID):
        return str(value)
    if isinstance(value, datetime):
        return iso(value)
    raise TypeError(f"{type(value).__name__} has no canonical JSON form")


def _key(key: Any) -> str:
    if not isinstance(key, str):
        raise TypeError("canonical JSON keys are text")
    return key


def canonical_json(value: Any) -> str:
    """The one text of a value made of mappings, sequences, text, numbers, booleans and None.

    Raises:
        ValueError: a number that is not finite.
        TypeError: a type without a JSON form, or a key that is not text.
    """
    return json.dumps(
        _plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def sha256_text(text: str) -> str:
    """SHA-256 of the UTF-8 bytes of a text, 64 lower-case hexadecimal digits."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def content_key(value: Any) -> str:
    """SHA-256 of the canonical JSON of a value."""
    return sha256_text(canonical_json(value))
