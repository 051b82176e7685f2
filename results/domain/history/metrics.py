"""Which results may be typed, each with the unit in which it is kept."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from results.domain.history.places import CellWrong

RESULTS: Mapping[str, str] = MappingProxyType(
    {
        "first_crack_load": "kN", "first_crack_deflection": "mm", "yield_load": "kN",
        "yield_deflection": "mm", "peak_load": "kN", "peak_deflection": "mm",
        "ultimate_deflection": "mm", "initial_stiffness": "kN/mm", "cracked_stiffness": "kN/mm",
        "post_yield_stiffness": "kN/mm", "ductility_deflection": "1", "energy_to_yield": "kN·mm",
        "energy_to_peak": "kN·mm", "energy_to_ultimate": "kN·mm", "ductility_energy": "1",
        "cycle_peak_load": "kN", "cycle_valley_load": "kN", "secant_stiffness": "kN/mm",
        "stiffness_ratio": "1", "stiffness_loss": "1", "loop_energy": "kN·mm",
        "residual_deflection": "mm", "frequency": "Hz",
    }
)  # fmt: skip
BY_CYCLE = frozenset(
    {
        "cycle_peak_load", "cycle_valley_load", "secant_stiffness", "stiffness_ratio",
        "stiffness_loss", "loop_energy", "residual_deflection", "frequency",
    }
)  # fmt: skip
UNKNOWN = "the result is {name!r}; known are {known}."


def result_of(text: str) -> str:
    """A result's name, with blanks or underscores, in whatever case.

    Raises:
        CellWrong: ``history.result``.
    """
    wanted = re.sub(r"[\s_-]+", "_", text.strip()).lower()
    if wanted not in RESULTS:
        known = ", ".join(name.replace("_", " ") for name in RESULTS)
        raise CellWrong("history.result", UNKNOWN.format(name=text[:40], known=known))
    return wanted
