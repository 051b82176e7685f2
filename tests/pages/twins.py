"""Twice as much of everything: each row again beside itself, with what hangs on it.

The rows are copied as they are, without services: what a page asks the database depends on how
many rows there are, not on how they came.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from django.db import models

from conditioning.models import Calibration, Machine, Regime, Sensor
from labmatrix.evidence.models import (
    ChannelMapSaved,
    Job,
    LedgerEntry,
    Record,
    RecordFile,
    Subject,
)
from labmatrix.matrix.models import (
    Cell,
    CellLevel,
    Factor,
    ForbiddenCombination,
    Invitation,
    Level,
    Membership,
    Programme,
    Series,
)
from labmatrix.web.models import Person
from results.models import (
    HistoryImport,
    Metric,
    Prediction,
    PredictionRules,
    Reduction,
    Release,
    TypedCorrection,
    TypedResult,
    WhatIf,
    WhatIfAnswer,
    WhatIfNumber,
)
from specimens.models import Deviation, Event, Location, Lot, Specimen, SpecimenState, TypedTest

Model = type[models.Model]
Change = Callable[[Any], None]
# In the order in which one hangs on another.
OF_A_SUBJECT: tuple[Model, ...] = (
    *(LedgerEntry, Job, ChannelMapSaved, Event, Deviation, Record, RecordFile, Reduction),
    *(
        Metric,
        TypedTest,
        Calibration,
        HistoryImport,
        TypedResult,
        TypedCorrection,
        Release,
        PredictionRules,
    ),
    *(Invitation, WhatIf, WhatIfAnswer, WhatIfNumber),
)
OF_A_SERIES: tuple[Model, ...] = (
    *(Person, Subject, Machine, Sensor, Regime, Lot, Level, Cell, CellLevel, Membership),
    *(ForbiddenCombination, Specimen, SpecimenState, Location, Prediction, *OF_A_SUBJECT),
)
OF_THE_LABORATORY: tuple[Model, ...] = (
    *(Programme, Series, Factor),
    *(model for model in OF_A_SERIES if model not in (Person, Machine, Sensor, Regime)),
)
_STEPS = {"R": 0, "A": 500, "X": 1000, "C": 2000}
_TELLING = {"code", "serial", "username", "combination", "digest", "fingerprint", "key", "method"}


def _again(row: Any, mark: str) -> None:
    """What one row alone may hold, changed in the copy."""
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if field.primary_key and not field.is_relation:
            setattr(row, field.attname, _key(field))
        elif field.name in _TELLING and isinstance(value, str) and value:
            setattr(row, field.attname, f"{value}{mark}"[-(field.max_length or 1000) :])


def _key(field: models.Field[Any, Any]) -> uuid.UUID | None:
    return uuid.uuid4() if isinstance(field, models.UUIDField) else None


def _level(row: Any, mark: str) -> None:
    row.value, row.is_control = f"{row.value}{mark}", False
    row.position += _STEPS[mark]
    row.number = None if row.number is None else row.number + _STEPS[mark]


def _beside(row: Any, mark: str) -> None:
    """Versions and numbers in a row of them go on."""
    for name in ("version", "number"):
        if isinstance(getattr(row, name, None), int):
            setattr(row, name, getattr(row, name) + _STEPS[mark])


def _another_method(row: Any, mark: str) -> None:
    """Of one specimen a number by a method comes once, by no named method too."""
    row.method = row.method if row.method.endswith(mark) else f"{row.method}{mark}"


_OWN: Mapping[Model, Callable[[Any, str], None]] = {
    Level: _level,
    TypedResult: _another_method,
    Release: _beside,
    ChannelMapSaved: _beside,
}


def twin(kinds: Iterable[Model], mark: str, change: Change = lambda row: None) -> None:
    """Each row of these kinds once more; a copy hangs on the copies of what its row hangs on.

    Args:
        kinds: which, in the order in which one hangs on another.
        mark: put behind codes, so that they stay one of their own; capitals.
        change: what else to change in a copy.
    """
    copies: dict[Model, dict[Any, Any]] = {}
    for kind in kinds:
        rows = list(kind._default_manager.order_by("pk"))
        old = [row.pk for row in rows]
        last = LedgerEntry.objects.order_by("-seq")[0]
        last_hash = last.entry_hash  # the database takes only what continues the chain
        links: list[tuple[Any, Any, Any]] = []
        for place, row in enumerate(rows, 1):
            _again(row, mark)
            if kind is LedgerEntry:
                row.seq, row.previous_hash = last.seq + place, last_hash
                row.entry_hash = last_hash = f"{uuid.uuid4().hex}{uuid.uuid4().hex}"
            for field in kind._meta.concrete_fields:
                if not isinstance(field, models.ForeignKey):
                    continue
                target = getattr(row, field.attname)
                if field.related_model is kind and target is not None:
                    links.append((row, field, target))
                    setattr(row, field.attname, None)
                else:
                    found = copies.get(field.related_model, {}).get(target, target)
                    setattr(row, field.attname, found)
            if kind in _OWN:
                _OWN[kind](row, mark)
            change(row)
            row._state.adding = True
        kind._default_manager.bulk_create(rows, batch_size=500)
        copies[kind] = dict(zip(old, (row.pk for row in rows), strict=True))
        for row, field, target in links:
            linked = {field.attname: copies[kind][target]}
            kind._default_manager.filter(pk=row.pk).update(**linked)


def _not_current(row: Any) -> None:
    if hasattr(row, "is_current"):
        row.is_current = False


def _elsewhere(row: Any) -> None:
    if isinstance(row, Subject) and row.programme_code:
        row.programme_code = f"{row.programme_code}C"


def twice() -> None:
    """Twice as much of each beam, then of each series, then as many programmes."""
    twin((Reduction, Metric), "R", _not_current)
    twin((Prediction,), "R", _not_current)
    twin(OF_A_SUBJECT, "A")
    twin(OF_A_SERIES, "X")
    twin(OF_THE_LABORATORY, "C", _elsewhere)
