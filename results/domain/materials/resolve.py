"""Which material values a member is predicted with: measured on its lots, else specified."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from results.domain.materials.pools import Pool, chosen_pool
from results.domain.materials.properties import PROPERTIES
from results.domain.mechanics.limits import DEFAULT_LIMITS, Limit
from results.domain.mechanics.materials.coupons import design_strain
from specimens.domain.lot import BAR, CONCRETE, FABRIC

MEASURED, SPECIFIED = "measured", "specified"
# Values of a lot that a member of a series may hold, under the same names.
_OF_KIND: Mapping[str, tuple[str, ...]] = {
    CONCRETE: ("fc_mpa", "ec_mpa", "fr_mpa"),
    BAR: ("fy_mpa", "es_mpa", "bar_diameter_mm"),
    FABRIC: (
        "ef_mpa",
        "fabric_design_strain",
        "fabric_ultimate_strain",
        "fabric_uncracked_mpa",
        "fabric_transition_strain",
        "ply_thickness_mm",
        "fibre",
    ),
}
DESIGN_RULE = "mean less one sample standard deviation of {pool}, at most {cap:g}; {source}"


@dataclass(frozen=True)
class LotKnown:
    """A lot with what is specified and what was measured of it."""

    code: str
    kind: str
    source: str = ""
    specified: Mapping[str, float | str] = field(default_factory=dict)
    pools: tuple[Pool, ...] = ()


@dataclass(frozen=True)
class Material:
    """One value in use, as it goes into a prediction's inputs and key.

    Attributes:
        name: as a series' member has it, the unit at its end.
        value: number or word.
        origin: ``measured`` or ``specified``.
        lots: codes of the lots that it is of.
        words: what it rests on.
        n, s: of the tests; None where it is specified.
        tests: ids of typed tests and metrics behind it.
    """

    name: str
    value: float | str
    origin: str
    lots: tuple[str, ...]
    words: str
    n: int | None = None
    s: float | None = None
    tests: tuple[str, ...] = ()

    def as_input(self) -> dict[str, Any]:
        """JSON-ready, in a fixed order."""
        return {
            "name": self.name,
            "value": self.value,
            "origin": self.origin,
            "lots": list(self.lots),
            "words": self.words,
            "n": self.n,
            "s": self.s,
            "tests": sorted(self.tests),
        }


def design_of(pools: Sequence[Pool], lot: str, cap: Limit) -> Material | None:
    """Design strain of a lot of fabric from the coupons that a prediction takes.

    Args:
        pools: of the lot.
        lot: its code.
        cap: largest design strain.

    Returns:
        None below two coupons tested alike: no standard deviation.
    """
    pool = chosen_pool(pools, "fabric_ultimate_strain")
    if pool is None or pool.n < 2:
        return None
    _, s, value = design_strain([sample.value for sample in pool.samples], cap.value)
    rule = DESIGN_RULE.format(pool=pool.words(lot), cap=cap.value, source=cap.source)
    keys = tuple(sample.key for sample in pool.samples)
    return Material("fabric_design_strain", value, MEASURED, (lot,), rule, pool.n, s, keys)


def _of_lot(lot: LotKnown, name: str, age_days: float | None) -> Material | None:
    if name == "fabric_design_strain":
        found = design_of(lot.pools, lot.code, DEFAULT_LIMITS["strain-cap"])
        if found is not None:
            return found
    pool = chosen_pool(lot.pools, name, age_days=age_days)
    if pool is not None:
        keys = tuple(sample.key for sample in pool.samples)
        words = pool.words(lot.code)
        return Material(name, pool.mean, MEASURED, (lot.code,), words, pool.n, pool.s, keys)
    value = lot.specified.get(name)
    if value is None:
        return None
    return Material(name, value, SPECIFIED, (lot.code,), f"{lot.code}: {lot.source}")


def _together(found: Sequence[Material]) -> Material:
    """One value for a member whose plies or bars come from several lots: the mean of the lots.

    It counts as measured only where every lot was measured. A word, and a number that not all
    share, is that of the first lot.
    """
    first = found[0]
    numbers = [m.value for m in found if isinstance(m.value, float | int)]
    if len(numbers) < len(found):
        return first
    measured = all(m.origin == MEASURED for m in found)
    return Material(
        first.name,
        statistics.fmean(numbers),
        MEASURED if measured else SPECIFIED,
        tuple(lot for m in found for lot in m.lots),
        "mean of " + " and ".join(m.words for m in found),
        sum(m.n or 0 for m in found) if measured else None,
        None,
        tuple(key for m in found for key in m.tests),
    )


def materials_of(lots: Iterable[LotKnown], *, age_days: float | None) -> tuple[Material, ...]:
    """Every value that the lots of a member give.

    Args:
        lots: those that its events name, in their order.
        age_days: of the concrete at its test, as it was or as planned; None where not known.
    """
    known = list(lots)
    found: list[Material] = []
    for kind, names in _OF_KIND.items():
        own = [lot for lot in known if lot.kind == kind]
        for name in names:
            told = [m for lot in own if (m := _of_lot(lot, name, age_days)) is not None]
            if told:
                found.append(_together(told) if len(told) > 1 else told[0])
    return tuple(found)


def materials_sentence(used: Mapping[str, Mapping[str, Any]], *, has_fabric: bool) -> str:
    """What a prediction took, in a sentence with the numbers that decide.

    Args:
        used: {name: {value, origin, words?}} as stored with it.
        has_fabric: whether the member is strengthened.
    """
    wanted = ["fc_mpa", "fy_mpa", *(["ef_mpa", "fabric_design_strain"] if has_fabric else [])]
    parts = []
    for name in wanted:
        entry = used.get(name)
        if entry is None or entry.get("value") is None:
            continue
        told = PROPERTIES[name]
        unit = "" if told.unit == "mm/mm" else f" {told.unit}"
        words = f", {entry['words']}" if entry.get("words") else ""
        parts.append(f"{told.symbol} {shown_value(entry['value'])}{unit} {entry['origin']}{words}")
    return "; ".join(parts)


def shown_value(value: Any) -> str:
    """A number with four significant digits, whole from 1000 up; anything else as it is."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "–" if value is None else str(value)
    return f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.4g}"
