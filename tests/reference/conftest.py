"""Keeps what the long checks found, beside the checks themselves."""

from __future__ import annotations

import json
import platform
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import pytest

KEPT = Path(__file__).parent / "long_checks.jsonl"
_PEERS = ("concreteproperties", "structuralcodes", "numpy")
KeepLongCheck = Callable[..., None]


@pytest.fixture
def keep_long_check(request: pytest.FixtureRequest) -> KeepLongCheck:
    """Appends a line about a long check; a short one leaves nothing behind."""

    def keep(*, count: int, worst: float, bound: float, of: str, **more: int) -> None:
        if request.node.get_closest_marker("long") is None:
            return
        line = {
            "date": datetime.now(UTC).date().isoformat(),
            "check": request.node.originalname,
            "count": count,
            "of": of,
            "worst": worst,
            "bound": bound,
            **more,
            "python": platform.python_version(),
            **{name: version(name) for name in _PEERS},
        }
        with KEPT.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")

    return keep
