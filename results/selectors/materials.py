"""Every test of lots of material as samples, and the values that specimens are predicted with."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from labmatrix.matrix.domain.route import StageKind
from labmatrix.matrix.models import Series
from results.domain.materials.pools import Sample, pools_of
from results.domain.materials.properties import (
    MATERIAL_TESTS,
    PROPERTY_OF_METRIC,
    ages_count,
    typed_numbers,
)
from results.domain.materials.resolve import LotKnown, Material, materials_of
from results.models import Metric
from specimens.domain.lot import MORTAR
from specimens.domain.typed_test import COUPON, CUBE
from specimens.models import Lot, Specimen, SpecimenState, TypedTest
from specimens.selectors.lot import lots_named

FROM_CUBES = "from cubes, EN 206 classes"


def _age(lot: Lot, tested_on: date | None) -> int | None:
    if not ages_count(lot.kind) or lot.made_on is None or tested_on is None:
        return None
    return (tested_on - lot.made_on).days


def _held(grip: object, bond: object, gauge: object) -> str:
    return f"{grip} grip, bond {bond:g} mm, gauge {gauge:g} mm"


def _typed_samples(lot: Lot, test: TypedTest) -> list[Sample]:
    values = test.values
    is_coupon = test.test == COUPON
    how = (
        _held(values["grip"], values["bond_length_mm"], values["gauge_length_mm"])
        if is_coupon
        else ""
    )
    clamped = is_coupon and values["grip"] == "clamped"
    found = []
    for number in typed_numbers(lot.kind, test.test, values):
        turned = test.test == CUBE and number.name == "fc_mpa"
        found.append(
            Sample(
                number.name,
                number.value,
                test.test,
                test.mark,
                how=FROM_CUBES if turned else how,
                age_days=_age(lot, test.tested_on),
                source="typed",
                key=str(test.pk),
                rule=number.rule,
                rank=int(turned or clamped),
            )
        )
    return found


def _record_sample(lot: Lot, metric: Metric) -> Sample | None:
    record, settings = metric.reduction.record, metric.reduction.settings
    name = PROPERTY_OF_METRIC.get(metric.name)
    if name is None:
        return None
    turned = record.test == CUBE and metric.name == "cylinder_strength"
    how = FROM_CUBES if turned else ""
    if record.test == COUPON:
        how = _held(settings["grip"], settings["bond_length_mm"], settings["gauge_length_mm"])
    if lot.kind == MORTAR and name == "cube_mpa":
        name = "mortar_compressive_mpa"
    file = record.files.all()[0].name if not settings.get("mark") else settings["mark"]
    return Sample(
        name,
        metric.value,
        record.test,
        file,
        how=how,
        age_days=_age(lot, record.measured_at.date() if record.measured_at else None),
        source="record",
        key=str(metric.pk),
        rule=f"{metric.reduction.name} {metric.reduction.version}",
        rank=int(turned or settings.get("grip") == "clamped"),
        u=metric.u,
    )


def samples_of_lots(lots: Sequence[Lot]) -> dict[int, list[Sample]]:
    """Samples of each lot by its key: typed tests that stand, then records; three queries."""
    by_pk = {lot.pk: lot for lot in lots}
    by_subject = {lot.subject_id: lot for lot in lots}
    found: dict[int, list[Sample]] = defaultdict(list)
    typed = TypedTest.objects.filter(
        lot__in=by_pk, strikes__isnull=True, struck_by__isnull=True
    ).order_by("tested_on", "mark", "typed_at")
    for test in typed:
        found[test.lot_id] += _typed_samples(by_pk[test.lot_id], test)
    metrics = (
        Metric.objects.filter(
            reduction__is_current=True,
            reduction__record__test__in=MATERIAL_TESTS,
            reduction__record__subject_id__in=by_subject,
        )
        .select_related("reduction__record")
        .prefetch_related("reduction__record__files")
        .order_by("reduction__record__measured_at", "reduction__record__received_at", "id")
    )
    for metric in metrics:
        lot = by_subject[metric.reduction.record.subject_id]
        sample = _record_sample(lot, metric)
        if sample is not None:
            found[lot.pk].append(sample)
    return found


def lots_known(lots: Sequence[Lot]) -> dict[str, LotKnown]:
    """Each lot with what is specified and measured of it, by its code."""
    samples = samples_of_lots(lots)
    return {
        lot.code: LotKnown(
            lot.code,
            lot.kind,
            source=lot.source,
            specified=lot.specified,
            pools=pools_of(samples.get(lot.pk, ())),
        )
        for lot in lots
    }


def concrete_age_at_test(specimen: Specimen, state: SpecimenState) -> float | None:
    """Age of the concrete at the end of a specimen, else as its route plans it, days."""
    if state.ended_at and state.concrete_began_at and state.ended_at >= state.concrete_began_at:
        return round((state.ended_at - state.concrete_began_at).total_seconds() / 86_400.0, 3)
    for stage in specimen.planned_route.stages():
        if stage.kind is StageKind.BREAK and stage.settings.get("concrete_age_days") is not None:
            return float(stage.settings["concrete_age_days"])
    return None


def materials_of_specimens(
    specimens: Iterable[Specimen],
) -> Mapping[int, tuple[Material, ...]]:
    """Values of the lots that each specimen's events name, by the specimen's key; five queries.

    Args:
        specimens: with ``subject``; lots of another programme than theirs are not theirs.
    """
    members = list(specimens)
    states = SpecimenState.objects.in_bulk([specimen.pk for specimen in members])
    named = {pk: lots_named(state.folded["life"]).codes() for pk, state in states.items()}
    codes = {code for own in named.values() for code in own}
    programmes = {s.subject.programme_code for s in members}
    found = Lot.objects.filter(code__in=codes, programme__code__in=programmes)
    lots = list(found.select_related("programme"))
    own = {lot.code: lot.programme.code for lot in lots}
    known = lots_known(lots)
    return {
        specimen.pk: materials_of(
            [
                known[code]
                for code in named[specimen.pk]
                if own.get(code) == specimen.subject.programme_code
            ],
            age_days=concrete_age_at_test(specimen, states[specimen.pk]),
        )
        for specimen in members
    }


def lots_of_series(series: Series) -> list[Lot]:
    """Lots that events of the series' specimens name, by kind and code."""
    folded = Specimen.objects.filter(cell__series=series).values_list("state__folded", flat=True)
    codes = {code for state in folded if state for code in lots_named(state["life"]).codes()}
    found = Lot.objects.filter(code__in=codes, programme=series.programme)
    return list(found.select_related("programme", "subject").order_by("kind", "code"))
