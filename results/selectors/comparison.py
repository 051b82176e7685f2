"""The comparison of a series: one metric by cell, with named controls."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from labmatrix import __version__
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Cell, CellLevel, Series
from results.domain.comparison.groups import Against, Group, Sample, against, group_of
from results.selectors.imported import IMPORTED_CHOICES
from results.selectors.numbers import Numbers, numbers_of
from results.selectors.ratio_samples import OF_METRIC, RATIO, check_values, ratio_samples
from results.selectors.samples import AS_STORED, Instead, member_of, owners_of
from specimens.models import Deviation, Specimen

CONTROLS = {"gain": "gain control", "conditioning": "conditioning control"}
INCLUDES = {
    "judged": "without specimens that a person excluded",
    "all": "all specimens, excluded ones too",
    "clean": "without excluded specimens and without those that have an open deviation",
    "spotless": "without every specimen that has a deviation, accepted ones too",
}


@dataclass(frozen=True)
class Row:
    """One cell of the table."""

    cell: Cell
    levels: Mapping[str, str]
    group: Group
    against: Against
    samples: tuple[Sample, ...]


@dataclass(frozen=True)
class Comparison:
    """The whole table with what it rests on.

    ``imported`` says whether imported numbers count, ``imported_codes`` which specimens have one
    and no reduced number.
    """

    series: Series
    metric: str
    method: str
    at: int | None
    unit: str
    control: str
    include: str
    rows: tuple[Row, ...]
    kept: tuple[str, ...]
    left_out: tuple[str, ...]
    reductions: tuple[str, ...]
    software: str = __version__
    factors: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())
    imported: str = "with"
    imported_codes: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        """Specimens with a value."""
        return sum(row.group.n for row in self.rows)

    @property
    def n_imported(self) -> int:
        """Specimens among them whose value is imported."""
        return sum(row.group.imported for row in self.rows)


def _checked(value: str, allowed: Mapping[str, str], argument: str) -> str:
    if value not in allowed:
        raise ShapeError(
            f"comparison.{argument}",
            f"{argument} is {value!r}; allowed are {', '.join(allowed)}.",
            allowed=list(allowed),
        )
    return value


def _levels(series: Series) -> dict[int, dict[str, str]]:
    levels: dict[int, dict[str, str]] = defaultdict(dict)
    rows = CellLevel.objects.filter(cell__series=series).select_related("factor", "level")
    for row in rows:
        levels[row.cell_id][row.factor.name] = row.level.shown
    return levels


def _kept(specimens: Sequence[Specimen], include: str) -> tuple[list[Specimen], list[str]]:
    deviating: set[int] = set()
    if include == "spotless":
        of_these = Deviation.objects.filter(specimen__in=[s.pk for s in specimens])
        deviating = set(of_these.values_list("specimen_id", flat=True))

    def stays(specimen: Specimen) -> bool:
        if include == "all":
            return True
        if specimen.state.is_excluded or specimen.pk in deviating:
            return False
        return include != "clean" or specimen.state.open_deviation_count == 0

    kept = [s for s in specimens if stays(s)]
    return kept, sorted(s.code for s in specimens if not stays(s))


def _control_of(cell: Cell, control: str) -> int | None:
    return cell.gain_control_id if control == "gain" else cell.conditioning_control_id


def comparison_get(
    *,
    series: Series,
    metric: str,
    control: str = "gain",
    include: str = "judged",
    method: str = "",
    at: int | None = None,
    instead: Instead = AS_STORED,
    imported: str = "with",
) -> Comparison:
    """The table of one metric by cell; the caller has checked who asks.

    Args:
        series: the series.
        metric: a metric's name.
        control: ``gain`` or ``conditioning``: which control of each cell counts.
        include: ``judged``, ``all``, ``clean`` or ``spotless``.
        method: for metrics that are found in several ways.
        at: load cycle, for metrics by cycle; without it the last one of each specimen.
        instead: values to be taken in the place of stored ones; nothing is written.
        imported: ``with`` or ``without`` numbers as reported, that no raw record stands behind.

    Raises:
        ShapeError: an unknown choice, or several methods where one must be named.
    """
    _checked(control, CONTROLS, "control")
    _checked(include, INCLUDES, "include")
    _checked(imported, IMPORTED_CHOICES, "imported")
    members = (
        Specimen.objects.filter(cell__series=series)
        .select_related("state")
        .defer("route", "member", "measured", "state__folded")
    )
    kept, left_out = _kept(list(members), include)
    numbers = _numbers(
        series, kept, metric, method, at, instead=instead, with_imported=imported == "with"
    )
    return Comparison(
        series=series,
        metric=metric,
        method=numbers.method,
        at=at,
        unit=numbers.unit,
        control=control,
        include=include,
        rows=_rows(series, kept, numbers, control=control, metric=metric),
        kept=tuple(s.code for s in kept),
        left_out=tuple(left_out),
        reductions=tuple(
            sorted({f"{m.reduction.name} {m.reduction.version}" for m in numbers.metrics})
        ),
        factors=tuple(series.factors.order_by("position").values_list("name", flat=True)),
        imported=imported,
        imported_codes=numbers.imported,
    )


def _numbers(
    series: Series,
    kept: Sequence[Specimen],
    metric: str,
    method: str,
    at: int | None,
    *,
    instead: Instead,
    with_imported: bool,
) -> Numbers:
    """The numbers that a comparison is of; ratios are peak loads over predictions."""
    owners = owners_of(kept)
    if metric != RATIO:
        return numbers_of(owners, metric, method, at, instead=instead, with_imported=with_imported)
    values = check_values(method)
    peaks = numbers_of(owners, OF_METRIC, instead=instead, with_imported=with_imported)
    samples = ratio_samples(series, peaks.samples, kept, values)
    return replace(peaks, samples=samples, unit="1", method=values)


def _rows(
    series: Series,
    kept: Sequence[Specimen],
    numbers: Numbers,
    *,
    control: str,
    metric: str,
) -> tuple[Row, ...]:
    """One row a cell, each compared with the control that it names."""
    cells = list(Cell.objects.filter(series=series).order_by("id"))
    levels = _levels(series)
    groups: dict[int, Group] = {}
    own: dict[int, tuple[Sample, ...]] = {}
    by_cell: dict[int, list[Specimen]] = defaultdict(list)
    for specimen in kept:
        by_cell[specimen.cell_id].append(specimen)
    for cell in cells:
        members = by_cell[cell.pk]
        own[cell.pk] = tuple(x for s in members for x in numbers.samples.get(s.code, ()))
        ages = [member_of(s, numbers.measured) for s in members]
        groups[cell.pk] = group_of(cell.code, own[cell.pk], ages)
    serving = {_control_of(cell, control) for cell in cells}
    rows = []
    for cell in cells:
        key = _control_of(cell, control)
        compared = against(
            groups[cell.pk],
            groups.get(key) if key is not None else None,
            kind=CONTROLS[control],
            metric=metric.replace("_", " "),
            is_control=cell.pk in serving,
        )
        rows.append(Row(cell, levels[cell.pk], groups[cell.pk], compared, own[cell.pk]))
    return tuple(rows)
