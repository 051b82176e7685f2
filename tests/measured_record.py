"""A measured record that is not part of this repository, where it is at hand.

Reversed cyclic test of growing amplitude, measured by Drexler, Dires and Tannert, "Internal
perforated-steel-plate connections for CLT shear walls", World Conference on Timber Engineering,
Santiago de Chile 2021; published with the examples of the Apache-2.0 licensed library Hysteresis.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

NAME = "actuator-cyclic-to-failure.csv"
NOT_HERE = "the measured record is not at hand; name it in STRONGFLOOR_MEASURED_RECORD"


def measured_record() -> Path | None:
    """Where the measured record is: as stated, else in a folder beside the repository."""
    stated = os.environ.get("STRONGFLOOR_MEASURED_RECORD")
    if stated:
        return Path(stated)
    beside = Path(__file__).resolve().parents[1].parent
    return next(iter(sorted(beside.glob(f"*/real/{NAME}"))), None)


def measured_path() -> Path:
    """Where the measured record is; skips the test that asks where it is not."""
    path = measured_record()
    if path is None or not path.is_file():
        pytest.skip(NOT_HERE)
    return path
