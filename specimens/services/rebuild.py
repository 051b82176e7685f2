"""Throw the states away and fold every specimen's events anew."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from labmatrix.evidence.services.ledger import ledger_transaction
from specimens.models import Specimen, SpecimenState
from specimens.services.projection import specimen_project

AT_ONCE = 100
# What a newer fold may change without the state meaning anything else.
_NOT_COMPARED = frozenset({"fold_version"})


@dataclass(frozen=True)
class Rebuilt:
    """How many states were rebuilt, and the codes of those that had been kept otherwise."""

    count: int
    differing: tuple[str, ...]


def _kept(specimen: Specimen) -> dict[str, Any] | None:
    """What is stored of a specimen's state and deviations; None without a state."""
    row = SpecimenState.objects.filter(specimen=specimen).values().first()
    if row is None:
        return None
    deviations = specimen.deviations.order_by("id").values()
    return {
        **{name: value for name, value in row.items() if name not in _NOT_COMPARED},
        "deviations": list(deviations),
    }


def states_rebuild(*, report: Callable[[int], None] | None = None) -> Rebuilt:
    """Project every specimen anew; events that arrive meanwhile wait for a hundred at most.

    Args:
        report: told how many are done, now and then.
    """
    ids = Specimen.objects.order_by("pk").values_list("pk", flat=True)
    differing: list[str] = []
    count = 0
    keys = list(ids)
    for start in range(0, len(keys), AT_ONCE):
        part = keys[start : start + AT_ONCE]
        with ledger_transaction():
            for specimen in Specimen.objects.filter(pk__in=part).order_by("pk"):
                before = _kept(specimen)
                specimen_project(specimen)
                if _kept(specimen) != before:
                    differing.append(specimen.code)
                count += 1
        if report is not None:
            report(count)
    return Rebuilt(count, tuple(differing))
