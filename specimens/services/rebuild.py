"""Throw the states away and fold every specimen's events anew."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from labmatrix.evidence.services.ledger import ledger_transaction
from specimens.models import Deviation, Specimen, SpecimenState
from specimens.services.projection import specimens_project

AT_ONCE = 100
# What a newer fold may change without the state meaning anything else.
_NOT_COMPARED = frozenset({"fold_version"})


@dataclass(frozen=True)
class Rebuilt:
    """How many states were rebuilt, and the codes of those that had been kept otherwise."""

    count: int
    differing: tuple[str, ...]


def _kept(specimens: Sequence[Specimen]) -> dict[int, dict[str, Any] | None]:
    """What is stored of each specimen's state and deviations; None without a state."""
    deviations: dict[int, list[dict[str, Any]]] = {specimen.pk: [] for specimen in specimens}
    for deviation in Deviation.objects.filter(specimen__in=specimens).order_by("id").values():
        deviations[deviation["specimen_id"]].append(dict(deviation))
    found: dict[int, dict[str, Any] | None] = dict.fromkeys(deviations)
    for row in SpecimenState.objects.filter(specimen__in=specimens).values():
        kept = {name: value for name, value in row.items() if name not in _NOT_COMPARED}
        key = row["specimen_id"]
        found[key] = {**kept, "deviations": deviations[key]}
    return found


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
            specimens = list(Specimen.objects.filter(pk__in=part).order_by("pk"))
            before = _kept(specimens)
            specimens_project(specimens)
            after = _kept(specimens)
            differing += [s.code for s in specimens if after[s.pk] != before[s.pk]]
            count += len(specimens)
        if report is not None:
            report(count)
    return Rebuilt(count, tuple(differing))
