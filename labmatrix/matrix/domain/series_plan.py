"""What a series says of its member, its responses and its route, checked for shape."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.domain.route_template import is_number, read_template
from labmatrix.matrix.domain.wording import check_text

_NAME = re.compile(r"^[a-z][a-z0-9_]*\Z")
NAME_WORDS = "names in small letters, digits and underscores, the unit last, such as width_mm"
TEXT_MAX = 240
NESTING_MAX = 6
RESPONSES_MAX = 60


def check_member(member: Any) -> dict[str, Any]:
    """Nominal geometry and materials: names with their units, and texts, numbers or lists of them.

    Raises:
        ShapeError: ``series.member``.
    """
    if not isinstance(member, Mapping):
        raise ShapeError(
            "series.member", f"The member is {member!r}; allowed is an object of {NAME_WORDS}."
        )
    return {str(name): _value(str(name), value, 1) for name, value in member.items()}


def _value(name: str, value: Any, depth: int) -> Any:
    if not _NAME.match(name) or depth > NESTING_MAX:
        raise ShapeError(
            "series.member",
            f"The member has {name!r}; allowed are {NAME_WORDS}, nested {NESTING_MAX} deep at "
            "most.",
            name=name,
        )
    if isinstance(value, Mapping):
        return {str(key): _value(str(key), item, depth + 1) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_value(name, item, depth + 1) for item in value]
    if isinstance(value, str):
        return check_text(value, argument=name, at_most=TEXT_MAX, may_be_empty=True)
    if value is None or isinstance(value, bool) or is_number(value):
        return value
    raise ShapeError(
        "series.member",
        f"The member's {name} is {value!r}; allowed are texts, finite numbers, true and false.",
        name=name,
    )


def check_responses(responses: Any) -> list[str]:
    """Names of metrics, each once.

    Raises:
        ShapeError: ``series.responses``.
    """
    if not isinstance(responses, Sequence) or isinstance(responses, str):
        raise ShapeError(
            "series.responses", f"The responses are {responses!r}; allowed is a list of names."
        )
    for name in responses:
        if not isinstance(name, str) or not _NAME.match(name) or len(name) > TEXT_MAX:
            raise ShapeError(
                "series.responses",
                f"A response is {name!r}; allowed are names of metrics such as peak_load.",
            )
    if len(set(responses)) != len(responses) or len(responses) > RESPONSES_MAX:
        raise ShapeError(
            "series.responses",
            f"The responses name a metric twice or are more than {RESPONSES_MAX}; each is named "
            "once.",
        )
    return list(responses)


def check_route_template(route: Any) -> dict[str, Any]:
    """A template of routes that can be read, whatever its factors.

    Raises:
        ShapeError: as ``read_template``; ``input.text``.
    """
    read_template(route)
    check_storable(route, argument="The route")
    return dict(route)
