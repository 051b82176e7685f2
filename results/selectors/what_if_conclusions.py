"""What comparisons of a series would say with other numbers in the place of stored ones."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import asdict, dataclass
from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Series
from results.domain.comparison.model_error import RatioGroup
from results.domain.moved_numbers import differs
from results.selectors.comparison import Comparison, comparison_get
from results.selectors.model_error import METRIC, Ratios, ratios_get
from results.selectors.retention import Retained, retention_list
from results.selectors.samples import AS_STORED, BY_LIFE, Instead

MEAN, GAIN = "mean of the cell", "gain"
MEMBER, CONTRIBUTION = "member retention", "contribution retention"
RATIO = "test to prediction"
_STIFFNESS = "secant_stiffness"


@dataclass(frozen=True)
class Conclusion:
    """One thing that is said of a cell, as it stands and as it would be.

    Attributes:
        series, cell: codes; for test to prediction the cell may be a group's name.
        metric, method: of what.
        what: mean, gain, one of the retentions, or test to prediction.
        unit: of both values.
        old, new: None where it cannot be given.
        old_bound, new_bound: "lower" or "upper" where it is one, else empty.
    """

    series: str
    cell: str
    metric: str
    method: str
    what: str
    unit: str
    old: float | None
    new: float | None
    old_bound: str = ""
    new_bound: str = ""

    @property
    def moves(self) -> bool:
        """Whether it differs by more than rounding."""
        return differs(self.old, self.new) or self.old_bound != self.new_bound

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        return asdict(self)


IMPORTED_STAYS = (
    "{series}, {metric}: {count} of {n} specimens have an imported number, as reported, no raw "
    "record behind it; what a sensor did does not move those."
)
Said = dict[tuple[str, str], tuple[float | None, str, str]]


def conclusion_list(
    series: Series, moved: Collection[tuple[str, str]], instead: Instead
) -> tuple[list[Conclusion], list[str]]:
    """Every conclusion on the metrics that move, whether it moves or not; and sentences on what
    could not be compared.

    Args:
        series: the series, with its programme.
        moved: name and method of each metric that moves in it.
        instead: values and bounds to be taken in the place of stored ones.
    """
    found: list[Conclusion] = []
    notes: list[str] = []
    for name, method in _compared(moved):
        try:
            stands, would_be = (
                comparison_get(series=series, metric=name, method=method, instead=one)
                for one in (AS_STORED, instead)
            )
        except ShapeError as error:
            notes.append(f"{series.code}, {name.replace('_', ' ')}: {error.message}")
            continue
        found += _beside(series.code, name, method, _said_of(stands), _said_of(would_be))
        if stands.n_imported:
            words = IMPORTED_STAYS.format(
                series=series.code,
                metric=name.replace("_", " "),
                count=stands.n_imported,
                n=stands.n,
            )
            notes.append(words)
    if any(name == METRIC for name, _ in moved):
        before, after = (
            dict(_ratios_said(ratios_get(series=series, instead=one)))
            for one in (AS_STORED, instead)
        )
        found += _beside(series.code, METRIC, "", before, after)
    return found, notes


def _compared(moved: Collection[tuple[str, str]]) -> list[tuple[str, str]]:
    """What to compare: a ratio of stiffnesses is of the whole life, whatever method gave it."""
    wanted = dict.fromkeys((n, "" if n in BY_LIFE else m) for n, m in moved)
    if any(name == _STIFFNESS for name, _ in moved):
        wanted |= dict.fromkeys((name, "") for name in BY_LIFE)
    return list(wanted)


def _beside(series: str, name: str, method: str, before: Said, after: Said) -> list[Conclusion]:
    rows = []
    for cell, what in dict.fromkeys((*before, *after)):
        old, old_bound, unit = before.get((cell, what), (None, "", ""))
        new, new_bound, new_unit = after.get((cell, what), (None, "", ""))
        if old is None and new is None:
            continue
        rows.append(
            Conclusion(
                series, cell, name, method, what, unit or new_unit, old, new, old_bound, new_bound
            )
        )
    return rows


def _said_of(comparison: Comparison) -> Said:
    said: Said = {}
    for row in comparison.rows:
        cell = row.group.cell
        said[cell, MEAN] = (row.group.mean, row.group.bound, comparison.unit)
        said[cell, GAIN] = (row.against.gain, row.against.bound, "1")
    for kept in retention_list(comparison):
        said[kept.cell.code, MEMBER] = _retained(kept.member)
        said[kept.cell.code, CONTRIBUTION] = _retained(kept.contribution)
    return said


def _retained(told: Retained) -> tuple[float | None, str, str]:
    return told.retention.value, told.bound, "1"


def _ratios_said(
    ratios: Ratios,
) -> Iterator[tuple[tuple[str, str], tuple[float | None, str, str]]]:
    groups: tuple[RatioGroup, ...] = (ratios.sound, ratios.every, *ratios.cells)
    for group in groups:
        yield (group.name, RATIO), (group.mean, "", "1")
