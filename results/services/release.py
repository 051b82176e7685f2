"""Release results: freeze them in a version that nothing can change."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.registry import Finding
from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
from labmatrix.kernel.canonical import canonical_json, sha256_text
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.domain.wording import check_text
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.services.series import check_why, series_subject
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from results.domain.release_changes import Change, changes_between
from results.models import Release
from results.selectors.snapshot import MetricAsked, snapshot_get

SCOPE_MAX = 400
SCOPE_START = "valid for "
SCOPE_SHAPE = (
    'The scope is {scope!r}; a sentence is needed that begins with "Valid for" and says for which '
    "members, materials and conditions the numbers hold."
)
NO_METRIC = "No number was chosen; at least one is needed."
UNCHANGED = "Nothing has changed since version {version}, and its scope is the same."


def check_scope(scope: str) -> str:
    """The scope sentence with a capital and a full stop.

    Raises:
        ShapeError: ``release.scope``, or what ``check_text`` refuses.
    """
    tidy = check_text(scope, argument="The scope", at_most=SCOPE_MAX)
    if not tidy.lower().startswith(SCOPE_START) or len(tidy) < len(SCOPE_START) + 3:
        raise ShapeError("release.scope", SCOPE_SHAPE.format(scope=tidy), value=tidy)
    return tidy[0].upper() + tidy[1:] + ("" if tidy.endswith((".", "!", "?")) else ".")


def release_make(
    *,
    actor: Person,
    series: Series,
    scope: str,
    why: str,
    metrics: Sequence[MetricAsked],
    control: str = "gain",
    include: str = "judged",
    imported: str = "with",
    now: datetime,
) -> Release:
    """Freeze the results of a series as its next version.

    Args:
        actor: a lead of the programme.
        series: with its programme.
        scope: a sentence that begins with "Valid for".
        why: of the first version the occasion, of an amendment the reason.
        metrics: the numbers to be released.
        control, include, imported: as for the comparison.
        now: the instant of the release.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: a scope, reason or choice that cannot be.
        RuleBroken: ``release.nothing`` or ``release.unchanged``.
    """
    require(programme_role(actor, series.programme), Action.RELEASE)
    said, reason = check_scope(scope), check_why(why)
    if not metrics:
        raise ShapeError("release.no-metric", NO_METRIC)
    with ledger_transaction():
        content = snapshot_get(
            series=series,
            metrics=list(dict.fromkeys(metrics)),
            control=control,
            include=include,
            imported=imported,
        )
        before = Release.objects.filter(series=series).order_by("-version").first()
        text = canonical_json(content)
        if before and (before.snapshot, before.scope) == (text, said):
            words = UNCHANGED.format(version=before.version)
            raise RuleBroken("release.unchanged", words, version=before.version)
        return _write(actor, series, before, text, scope=said, why=reason, now=now)


def _changes(before: Release | None, text: str, scope: str) -> list[dict[str, Any]]:
    if before is None:
        return []
    found = list(changes_between(before.content, json.loads(text)))
    if before.scope != scope:
        found.insert(0, Change("scope", before.scope, scope))
    return [asdict(change) for change in found]


def _write(
    actor: Person,
    series: Series,
    before: Release | None,
    text: str,
    *,
    scope: str,
    why: str,
    now: datetime,
) -> Release:
    release = Release(
        series=series,
        version=before.version + 1 if before else 1,
        released_at=now,
        released_by=str(actor.id),
        scope=scope,
        why=why,
        what=json.loads(text)["what"],
        snapshot=text,
        sha256=sha256_text(text),
        changes=_changes(before, text, scope),
    )
    release.entry = ledger_append(
        actor=str(actor.id),
        kind="release",
        subject=series_subject(series),
        body=_body(release),
        now=now,
    )
    release.save(force_insert=True)
    return release


def _body(release: Release) -> dict[str, Any]:
    """What the ledger holds of a release: all but the snapshot, of which it has the hash."""
    return {
        "id": str(release.id),
        "version": release.version,
        "scope": release.scope,
        "why": release.why,
        "what": release.what,
        "changes": release.changes,
        "sha256": release.sha256,
    }


def release_mirror() -> Iterator[Finding]:
    """Releases that differ from their ledger entry, and entries whose release is gone."""
    for release in Release.objects.select_related("entry").order_by("entry").iterator(100):
        seq, where = release.entry_id, f"release {release.id}"
        body = json.loads(release.entry.content).get("body")
        if canonical_json(body) != canonical_json(_body(release)):
            yield Finding(seq, where, "the release's row and the ledger's text differ")
        if sha256_text(release.snapshot) != release.sha256:
            yield Finding(seq, where, "the released numbers no longer give their hash")
    orphans = LedgerEntry.objects.filter(kind="release", release__isnull=True).order_by("seq")
    for entry in orphans.iterator(100):
        yield Finding(entry.seq, "release", "the ledger holds a release whose row is gone")
