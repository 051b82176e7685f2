"""Read JSON bodies within limits, so that no body can exhaust the server or surprise a service."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import IO, Any, NoReturn

from django.conf import settings
from rest_framework.parsers import BaseParser

from labmatrix.kernel.errors import ShapeError, TooLarge

NOT_JSON = "The body is not JSON: {reason}."
TOO_DEEP = "The body nests deeper than {most} levels."
TOO_LARGE = "The body has more than {most} bytes; send it in parts."
DEPTH_MAX = 40
DIGITS_MAX = 300  # what a float can still hold


class BoundedJSONParser(BaseParser):
    """JSON (RFC 8259) of a bounded size and depth, with finite numbers only."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """The data in a body.

        Raises:
            TooLarge: ``request.too-large``.
            ShapeError: ``request.not-json`` or ``request.too-deep``.
        """
        most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        body: bytes = stream.read(most + 1)
        if len(body) > most:
            raise TooLarge("request.too-large", TOO_LARGE.format(most=most), allowed=most)
        return json_parse(body)


def json_parse(body: bytes) -> Any:
    """Data from JSON text in UTF-8.

    Raises:
        ShapeError: ``request.not-json`` or ``request.too-deep``.
    """
    try:
        data = json.loads(
            body.decode("utf-8"),
            parse_float=_finite,
            parse_int=_integer,
            parse_constant=_refuse_constant,
        )
    except UnicodeDecodeError as error:
        raise _not_json(f"it is not UTF-8 at byte {error.start}") from error
    except json.JSONDecodeError as error:
        raise _not_json(f"{error.msg} at line {error.lineno}, column {error.colno}") from error
    except RecursionError as error:
        raise _too_deep() from error
    if _is_deep(data):
        raise _too_deep()
    return data


def _not_json(reason: str) -> ShapeError:
    return ShapeError("request.not-json", NOT_JSON.format(reason=reason))


def _too_deep() -> ShapeError:
    return ShapeError("request.too-deep", TOO_DEEP.format(most=DEPTH_MAX), allowed=DEPTH_MAX)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise _not_json(f"the number {text[:40]} is beyond what can be computed with")
    return value


def _integer(text: str) -> int:
    if len(text) > DIGITS_MAX:
        raise _not_json(f"the number {text[:40]} … has {len(text)} digits")
    return int(text)


def _refuse_constant(name: str) -> NoReturn:
    raise _not_json(f"{name} is no number of JSON")


def _is_deep(data: Any) -> bool:
    level = [data]
    for _ in range(DEPTH_MAX):
        level = [
            child
            for item in level
            if isinstance(item, dict | list)
            for child in (item.values() if isinstance(item, dict) else item)
        ]
        if not level:
            return False
    return True
