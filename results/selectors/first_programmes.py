"""How far a person's programmes are, their next decisions, and what is released of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Max

from labmatrix.matrix.models import Programme, Series
from labmatrix.matrix.selectors.programme import programme_list_visible
from labmatrix.web.domain.roles import Action, Role, allowed
from labmatrix.web.models import Person
from results.domain.sponsor_view import PROGRESS_FIELDS, as_sponsor
from results.models import Reduction, Release
from results.selectors.progress import progress_list
from results.selectors.release import release_list_latest


@dataclass(frozen=True)
class SeriesNow:
    """A series against its plan, and its latest release.

    Attributes:
        code: of the series.
        progress: counts of planned, made, in progress and ended.
        latest: the latest release; None before the first.
        is_newer: numbers came in since it; None for whoever does not see work in progress.
    """

    code: str
    progress: Mapping[str, Any]
    latest: Release | None
    is_newer: bool | None


@dataclass(frozen=True)
class ProgrammeNow:
    """A programme with its series; ``days_left`` to its next decision, negative once it is past."""

    programme: Programme
    role: Role | None
    series: Sequence[SeriesNow]
    days_left: int | None

    @property
    def sees_work(self) -> bool:
        """Whether plate and comparison are theirs to open."""
        return allowed(self.role, Action.SEE_WORK)

    @property
    def may_release(self) -> bool:
        """Whether its numbers are theirs to release."""
        return allowed(self.role, Action.RELEASE)

    @property
    def may_plan(self) -> bool:
        """Whether a series is theirs to start."""
        return allowed(self.role, Action.PLAN_MATRIX)

    @property
    def planned(self) -> int:
        """Specimens planned, in all series."""
        return sum(one.progress["planned"] for one in self.series)

    @property
    def released(self) -> int:
        """Series with a release."""
        return sum(one.latest is not None for one in self.series)

    @property
    def ended(self) -> int:
        """Specimens whose test has ended, in all series."""
        return sum(one.progress["ended"] for one in self.series)


def _last_numbers(series: Sequence[Series]) -> dict[int, Any]:
    """When the last current number of each series was reduced; one query."""
    ids = [one.pk for one in series]
    rows = (
        Reduction.objects.filter(is_current=True, record__subject__specimen__cell__series__in=ids)
        .order_by()
        .values_list("record__subject__specimen__cell__series")
        .annotate(last=Max("reduced_at"))
    )
    return dict(rows)


def programmes_now(
    *, actor: Person, roles: Mapping[str, Role], today: date
) -> Sequence[ProgrammeNow]:
    """The person's programmes, those that end first on top; eight queries, however many.

    Args:
        actor: who looks.
        roles: the person's part by programme.
        today: the laboratory's day.
    """
    programmes = list(programme_list_visible(actor))
    series = list(
        Series.objects.filter(programme__in=programmes)
        .select_related("programme")
        .defer("route")
        .order_by("code")
    )
    progress, latest, last = (
        progress_list(series),
        release_list_latest(series),
        _last_numbers(series),
    )
    found: dict[int, list[SeriesNow]] = {}
    for one, counts in zip(series, progress, strict=True):
        sees_work = allowed(roles.get(one.programme.code), Action.SEE_WORK)
        release, numbers = latest.get(one.pk), last.get(one.pk)
        newer = numbers is not None and (release is None or numbers > release.released_at)
        found.setdefault(one.programme_id, []).append(
            SeriesNow(
                one.code,
                as_sponsor(counts, PROGRESS_FIELDS),
                release,
                newer if sees_work else None,
            )
        )
    rows = [
        ProgrammeNow(
            one,
            roles.get(one.code),
            found.get(one.pk, ()),
            (one.ends_on - today).days if one.ends_on else None,
        )
        for one in programmes
    ]
    return sorted(rows, key=lambda row: (row.programme.ends_on or date.max, row.programme.code))
