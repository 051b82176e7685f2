"""Read releases, each person as far as they may."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.models import Max, QuerySet

from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_list_visible, programme_role
from labmatrix.web.domain.roles import NOT_YOURS, Action, Role, allowed, require
from labmatrix.web.models import Person
from results.domain.sponsor_view import RELEASE_FIELDS, as_sponsor
from results.models import Release


def release_list_visible(actor: Person) -> QuerySet[Release]:
    """Releases of the programmes that a person is part of, newest first, without the numbers."""
    return (
        Release.objects.filter(series__programme__in=programme_list_visible(actor).values("id"))
        .select_related("series__programme")
        .defer("snapshot")
        .order_by("-released_at", "-version", "id")
    )


def release_list_of_series(series: Series) -> list[Release]:
    """The versions of a series, newest first, without the numbers."""
    return list(Release.objects.filter(series=series).defer("snapshot").order_by("-version"))


def release_get_latest(series: Series) -> Release | None:
    """The latest version of a series, whole; None before the first."""
    return (
        Release.objects.filter(series=series)
        .select_related("series__programme")
        .order_by("-version")
        .first()
    )


def release_list_latest(series: Sequence[Series]) -> dict[int, Release]:
    """The latest version of each series by the series' key, without the numbers; one query."""
    found = Release.objects.filter(series__in=[one.pk for one in series]).defer("snapshot")
    return {release.series_id: release for release in found.order_by("version")}


def release_get(actor: Person, release_id: str) -> tuple[Release, Role]:
    """A release with its series, and the person's part in its programme.

    Raises:
        NotFound: there is none, or it is not theirs.
    """
    found = Release.objects.filter(pk=release_id).select_related("series__programme").first()
    role = programme_role(actor, found.series.programme) if found else None
    if found is None or role is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(role, Action.SEE_PROGRAMME)
    return found, role


def release_head(release: Release) -> dict[str, Any]:
    """A release without its numbers."""
    return {
        "id": str(release.id),
        "series": release.series.code,
        "version": release.version,
        "released_at": iso(release.released_at),
        "scope": release.scope,
        "why": release.why,
        "what": release.what,
        "changes": release.changes,
        "sha256": release.sha256,
    }


def release_as_seen(release: Release, role: Role) -> dict[str, Any]:
    """A whole release as a person in this role may see it; one query."""
    newest = Release.objects.filter(series=release.series_id).aggregate(n=Max("version"))["n"]
    later = newest if newest > release.version else None
    whole = release.content | release_head(release) | {"superseded_by": later}
    if allowed(role, Action.SEE_WORK):
        return whole | {"by": release.released_by, "entry": release.entry_id}
    return as_sponsor(whole, RELEASE_FIELDS)


def release_head_as_seen(release: Release, role: Role) -> dict[str, Any]:
    """A release without its numbers, as a person in this role may see it."""
    head = release_head(release)
    if allowed(role, Action.SEE_WORK):
        return head | {"by": release.released_by, "entry": release.entry_id}
    return as_sponsor(head, RELEASE_FIELDS)
