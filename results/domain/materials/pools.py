"""Tests of a lot put together where they are alike, and which of them a prediction takes.

Coupons of another grip, bond length or gauge length, cylinders of another age, and strengths turned
from cubes are never averaged with the others.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from results.domain.materials.properties import PROPERTIES

FEW = "One test: no scatter can be stated."
PIECES = {
    "cylinder": ("cylinder", "cylinders"),
    "cube": ("cube", "cubes"),
    "prism": ("prism", "prisms"),
    "bar": ("bar", "bars"),
    "coupon": ("coupon", "coupons"),
}


@dataclass(frozen=True)
class Sample:
    """One value of one test on a lot.

    Attributes:
        name: property.
        value: in its base unit.
        test: what was tested: coupon, cylinder …
        mark: on the piece.
        how: what must be alike for two to be averaged, in words; empty where nothing must.
        age_days: of the material, None where it does not count or is not known.
        source: ``typed`` or ``record``.
        key: id of the typed test, or of the metric.
        rule: how the value was found.
        rank: which kind of evidence goes first, 0 before 1.
        u: standard uncertainty in the unit of the property, where it is known.
    """

    name: str
    value: float
    test: str
    mark: str
    how: str = ""
    age_days: int | None = None
    source: str = "typed"
    key: str = ""
    rule: str = ""
    rank: int = 0
    u: float | None = None


@dataclass(frozen=True)
class Pool:
    """Values of one property that were found alike.

    Attributes:
        name, test, how, age_days, rank: what they share.
        n, mean, s: s is the sample standard deviation (n − 1), None for n = 1.
        samples: the values, in the order given.
    """

    name: str
    test: str
    how: str
    age_days: int | None
    rank: int
    n: int
    mean: float
    s: float | None
    samples: tuple[Sample, ...]

    @property
    def cov(self) -> float | None:
        """s / mean, no unit; None for n = 1."""
        return None if self.s is None or self.mean == 0.0 else self.s / abs(self.mean)

    @property
    def unit(self) -> str:
        """Base unit of the property."""
        return PROPERTIES[self.name].unit

    @property
    def typed(self) -> int:
        """How many of the values a person typed."""
        return sum(sample.source == "typed" for sample in self.samples)

    def words(self, lot: str) -> str:
        """What it rests on: ``3 cylinders of QC-01 at 56 d``."""
        one, many = PIECES.get(self.test, (self.test, f"{self.test} tests"))
        at = "" if self.age_days is None else f" at {self.age_days} d"
        how = f" ({self.how})" if self.how else ""
        return f"{self.n} {one if self.n == 1 else many} of {lot}{at}{how}"


def pools_of(samples: Iterable[Sample]) -> tuple[Pool, ...]:
    """Samples in pools, by property, kind of evidence, how and age."""
    grouped: dict[tuple[str, int, str, str, int], list[Sample]] = {}
    for sample in samples:
        age = -1 if sample.age_days is None else sample.age_days
        key = (sample.name, sample.rank, sample.test, sample.how, age)
        grouped.setdefault(key, []).append(sample)
    order = {name: place for place, name in enumerate(PROPERTIES)}
    found = []
    for key in sorted(grouped, key=lambda k: (order.get(k[0], len(order)), *k[1:])):
        own = grouped[key]
        values = [sample.value for sample in own]
        found.append(
            Pool(
                name=key[0],
                test=key[2],
                how=key[3],
                age_days=own[0].age_days,
                rank=key[1],
                n=len(values),
                mean=statistics.fmean(values),
                s=statistics.stdev(values) if len(values) > 1 else None,
                samples=tuple(own),
            )
        )
    return tuple(found)


def chosen_pool(pools: Sequence[Pool], name: str, *, age_days: float | None = None) -> Pool | None:
    """The pool of a property that a prediction takes; None without one.

    Direct evidence before converted, clevis before clamped, then the age nearest to the one asked
    for (the older of two as near, the oldest where no age is known), then more tests.

    Args:
        pools: of one lot.
        name: property.
        age_days: of the material where it counts, None where it is not known.
    """

    def place(pool: Pool) -> tuple[float, ...]:
        age = float(pool.age_days or 0)
        away = -age if age_days is None else abs(age - age_days)
        return (pool.rank, away, -age, -pool.n)

    found = [pool for pool in pools if pool.name == name]
    return min(found, key=place) if found else None
