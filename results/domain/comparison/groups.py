"""Mean, scatter and gain by cell, counted by specimens and never by sub-samples."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

# Common practice: ages that differ by more than this are pointed out, and stay comparable.
AGE_TOLERANCE_DAYS = 7.0
AGES_DIFFER = (
    "{cell} was tested at a mean concrete age of {age:.0f} d, its control {control} at "
    "{control_age:.0f} d."
)
NO_CONTROL = "{cell} names no {kind}."
IS_CONTROL = "{cell} is itself a {kind}."
CONTROL_EMPTY = "The {kind} {control} of {cell} has no value of {metric} yet."
BOUND_IN_MEAN = "{count} of {n} values are lower bounds, so the mean is one too."
UPPER_IN_MEAN = "{count} of {n} values are upper bounds, so the mean is one too."
MIXED_BOUNDS = "The values are bounds in both directions, so no mean is given."
FEW = "One specimen: no scatter can be stated."
IMPORTED = "imported: number as reported, no raw record behind it"
IMPORTED_IN_MEAN = (
    "{count} of {n} specimens {have} an imported number, as reported, no raw record behind it: "
    "{codes}."
)
ALL_IMPORTED = "Every number here is imported, as reported, no raw record behind it."
NO_METHOD = "Of {codes} the workbook does not say by which method the number was found."
IMPORTED_IN_CONTROL = (
    "{count} of {n} specimens of the {kind} {control} {have} an imported number, no raw record "
    "behind it."
)
_NAMED_MAX = 6


@dataclass(frozen=True)
class Sample:
    """One value of one specimen or of one of its locations.

    Attributes:
        specimen: code of the specimen; several samples of one specimen are sub-samples.
        value: in the metric's unit.
        bound: "lower" or "upper" where the value is one, else empty.
        metric_id: where the number comes from.
        u: standard uncertainty of the value, where known; of an imported one where it was stated.
        imported: the number is as reported, and no raw record stands behind it.
        no_method: imported, and it was not said by which of several methods it was found.
    """

    specimen: str
    value: float
    bound: str = ""
    metric_id: str = ""
    u: float | None = None
    imported: bool = False
    no_method: bool = False


@dataclass(frozen=True)
class Member:
    """What else is known of a specimen in a comparison; ages in days, None where unknown."""

    code: str
    end: str = ""
    concrete_age_d: float | None = None


@dataclass(frozen=True)
class Group:
    """One cell of a comparison.

    Attributes:
        n: number of specimens with a value.
        sub_samples: number of values; above n where specimens were tested at several locations.
        mean: mean over specimens, each the mean of its sub-samples; None for n = 0.
        s: sample standard deviation over specimens (n − 1); None below n = 2.
        bound: "lower" or "upper" where the mean is a bound.
        age_d: mean age of the concrete at the test, days.
        ends: how many specimens ended in which way, of all in the cell.
        imported: how many of the n specimens have an imported number.
    """

    cell: str
    n: int
    sub_samples: int
    mean: float | None
    s: float | None
    bound: str
    age_d: float | None
    ends: Mapping[str, int]
    notes: tuple[str, ...]
    imported: int = 0


@dataclass(frozen=True)
class Against:
    """A group compared with its control: gain = mean / control mean − 1, no unit.

    ``control_imported`` counts those of the control's specimens whose number is imported.
    """

    control: str
    kind: str
    control_n: int
    control_mean: float | None
    control_age_d: float | None
    gain: float | None
    bound: str
    notes: tuple[str, ...]
    control_imported: int = 0

    @property
    def gain_percent(self) -> float | None:
        """The gain in per cent."""
        return None if self.gain is None else 100.0 * self.gain


def _mean_age(members: Sequence[Member]) -> float | None:
    ages = [m.concrete_age_d for m in members if m.concrete_age_d is not None]
    return statistics.fmean(ages) if ages else None


def _bound(samples: Sequence[Sample], n: int) -> tuple[str, str | None]:
    kinds = Counter(sample.bound for sample in samples if sample.bound)
    if not kinds:
        return "", None
    if len(kinds) > 1:
        return "mixed", MIXED_BOUNDS
    ((kind, count),) = kinds.items()
    words = BOUND_IN_MEAN if kind == "lower" else UPPER_IN_MEAN
    return kind, words.format(count=count, n=len(samples))


def _named(codes: Sequence[str]) -> str:
    shown = ", ".join(codes[:_NAMED_MAX])
    return shown + (" and others" if len(codes) > _NAMED_MAX else "")


def imported_codes(samples: Sequence[Sample]) -> list[str]:
    """Codes of the specimens that have an imported number, each once, in order."""
    return sorted({sample.specimen for sample in samples if sample.imported})


def _imported_said(samples: Sequence[Sample], n: int) -> list[str]:
    codes = imported_codes(samples)
    if not codes:
        return []
    have = "has" if len(codes) == 1 else "have"
    some = IMPORTED_IN_MEAN.format(count=len(codes), n=n, have=have, codes=_named(codes))
    words = [ALL_IMPORTED if len(codes) == n else some]
    unsaid = sorted({sample.specimen for sample in samples if sample.no_method})
    return words + ([NO_METHOD.format(codes=_named(unsaid))] if unsaid else [])


def group_of(cell: str, samples: Sequence[Sample], members: Sequence[Member]) -> Group:
    """One cell's group.

    Args:
        cell: code of the cell.
        samples: all its values, in any order.
        members: its specimens, with or without a value.
    """
    by_specimen: dict[str, list[float]] = {}
    for sample in samples:
        by_specimen.setdefault(sample.specimen, []).append(sample.value)
    values = [statistics.fmean(by_specimen[code]) for code in sorted(by_specimen)]
    bound, words = _bound(samples, len(values))
    notes = [words] if words else []
    if len(values) == 1:
        notes.append(FEW)
    notes += _imported_said(samples, len(values))
    with_value = [m for m in members if m.code in by_specimen]
    return Group(
        cell=cell,
        n=len(values),
        sub_samples=len(samples),
        mean=statistics.fmean(values) if values and bound != "mixed" else None,
        s=statistics.stdev(values) if len(values) > 1 else None,
        bound=bound,
        age_d=_mean_age(with_value),
        ends=dict(Counter(m.end for m in members if m.end)),
        notes=tuple(notes),
        imported=len(imported_codes(samples)),
    )


def _gain_bound(group: Group, control: Group) -> str:
    """A bound above a bound says nothing; one of the two makes the gain a bound."""
    if group.bound and control.bound:
        return "unknown"
    flipped = {"lower": "upper", "upper": "lower", "": ""}
    return group.bound or flipped[control.bound]


def against(
    group: Group, control: Group | None, *, kind: str, metric: str, is_control: bool = False
) -> Against:
    """A group against its control, with what a reader must know beside the number.

    Args:
        group: the group.
        control: the group of the control cell, or None where the cell names none.
        kind: "gain control" or "conditioning control".
        metric: the metric's name, for the sentences.
        is_control: the group is itself a control of this kind, and needs none.
    """
    if control is None:
        missing = IS_CONTROL if is_control else NO_CONTROL
        words = missing.format(cell=group.cell, kind=kind)
        return Against("", kind, 0, None, None, None, "", (words,))
    notes = []
    if control.mean is None:
        words = CONTROL_EMPTY.format(
            kind=kind, control=control.cell, cell=group.cell, metric=metric
        )
        notes.append(words)
    if (
        group.age_d is not None
        and control.age_d is not None
        and abs(group.age_d - control.age_d) > AGE_TOLERANCE_DAYS
    ):
        words = AGES_DIFFER.format(
            cell=group.cell, age=group.age_d, control=control.cell, control_age=control.age_d
        )
        notes.append(words)
    if control.imported:
        words = IMPORTED_IN_CONTROL.format(
            count=control.imported,
            n=control.n,
            kind=kind,
            control=control.cell,
            have="has" if control.imported == 1 else "have",
        )
        notes.append(words)
    gain = None
    bound = _gain_bound(group, control)
    if group.mean is not None and control.mean and bound != "unknown":
        gain = group.mean / control.mean - 1.0
        gain = gain if math.isfinite(gain) else None
    return Against(
        control=control.cell,
        kind=kind,
        control_n=control.n,
        control_mean=control.mean,
        control_age_d=control.age_d,
        gain=gain,
        bound=bound if gain is not None else "",
        notes=tuple(notes),
        control_imported=control.imported,
    )
