"""Compute stored numbers again, beside the old ones, and compare."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass

from labmatrix.evidence.services.job_folder import passing_folder
from results.models import Metric, Reduction
from results.services.compute import compute, metric_id
from results.services.reduce import environment_hash

# On another machine or with other packages the last digits may differ; this much is allowed.
TOLERANCE = 1e-12


@dataclass(frozen=True)
class Rebuilt:
    """One reduction computed again.

    Attributes:
        reduction: the stored row.
        count: numbers compared.
        same_environment: the packages are those of the first time, so identity is asked for.
        differences: sentences, one for each number that differs.
    """

    reduction: Reduction
    count: int
    same_environment: bool
    differences: tuple[str, ...]


def _agrees(old: float, new: float, *, exact: bool) -> bool:
    if exact:
        return old == new
    return math.isclose(old, new, rel_tol=TOLERANCE, abs_tol=TOLERANCE)


def _agrees_where_known(old: float | None, new: float | None, *, exact: bool) -> bool:
    if old is None or new is None:
        return old is new
    return _agrees(old, new, exact=exact)


def reduction_rebuild(reduction: Reduction) -> Rebuilt:
    """Compute one reduction from its stored inputs and compare number by number.

    Raises:
        UserError: its inputs cannot be read any more.
    """
    with passing_folder() as folder:
        computed = compute(json.loads(reduction.inputs), lambda share, words: None, folder)
        table = computed.table_sha256()
    exact = reduction.environment == environment_hash()
    stored = {metric.id: metric for metric in Metric.objects.filter(reduction=reduction)}
    found = {metric_id(computed.key, f): f for f in computed.outcome.metrics}
    differences = []
    if computed.key != reduction.key:
        differences.append(f"the inputs give the key {computed.key}, stored is {reduction.key}")
    for key in stored.keys() - found.keys():
        differences.append(f"{stored[key].name} (at {stored[key].at}) is not found any more")
    for key, new in found.items():
        old = stored.get(key)
        if old is None:
            differences.append(f"{new.name} (at {new.at}) was not stored")
        elif not _agrees(old.value, new.value, exact=exact) or old.bound != (new.bound or ""):
            differences.append(
                f"{new.name} (at {new.at}) was {old.value!r} and is now {new.value!r}"
            )
        elif not _agrees_where_known(old.u, new.u, exact=exact):
            differences.append(
                f"the uncertainty of {new.name} (at {new.at}) was {old.u!r} and is now {new.u!r}"
            )
    if exact and table != reduction.table_id:
        differences.append(f"the table has the hash {table}, stored is {reduction.table_id}")
    return Rebuilt(reduction, len(found), exact, tuple(differences))


def reduction_said(reduction: Reduction) -> str:
    """How the command names a reduction."""
    subject = reduction.record.subject.code
    return f"{subject} {reduction.name} {reduction.version} {reduction.key[:12]}"


def metric_said(metric: Metric) -> str:
    """What the command prints of the number that it was asked for."""
    at = "" if metric.at is None else f"at {metric.at} "
    u = "" if metric.u is None else f", u {metric.u!r}"
    words = f"{metric.name} {metric.method} {at}= {metric.value!r} {metric.unit}{u}"
    return f"{reduction_said(metric.reduction)}: {' '.join(words.split())}"


def summary_said(reductions: int, numbers: int, identical: int) -> str:
    """What the command prints at its end.

    Args:
        reductions, numbers: how many were computed again.
        identical: of the reductions those with the packages of the first time.
    """
    return (
        f"{reductions} reductions, {numbers} numbers; {identical} with the packages of the first "
        f"time, where identity is asked for; the others within {TOLERANCE:g}."
    )


def printed_for(metric: Metric) -> list[str]:
    """What ``rebuild --metric`` prints of a number where nothing differs, line by line."""
    reduction = metric.reduction
    count = Metric.objects.filter(reduction=reduction).count()
    identical = int(reduction.environment == environment_hash())
    return [metric_said(metric), summary_said(1, count, identical)]


def rebuild_all(*, superseded: bool = False) -> Iterator[Rebuilt]:
    """Rebuild all current reductions, in the order of their keys; with ``superseded`` all."""
    rows = Reduction.objects.order_by("key")
    for reduction in rows if superseded else rows.filter(is_current=True):
        yield reduction_rebuild(reduction)
