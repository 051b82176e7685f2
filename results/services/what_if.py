"""Ask what an assumed error of sensors would change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from conditioning.models import Sensor
from conditioning.services.sensor import sensor_subject
from labmatrix.evidence.models import ChannelMapSaved, Job
from labmatrix.evidence.services.job import job_submit
from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.models import Programme
from labmatrix.matrix.services.series import check_why
from labmatrix.web.domain.roles import Action, allowed, require
from labmatrix.web.models import Person
from labmatrix.web.selectors.laboratory import laboratory_get
from results.domain.assumed_error import AssumedError, check_measures
from results.domain.what_if_question import Question, check_question
from results.models import WhatIf
from results.selectors.sensor_use import Use, use_list, within
from results.selectors.what_if import (
    WHAT_IF_KIND,
    what_if_changes,
    what_if_job,
    what_if_job_key,
)
from specimens.selectors.access import programme_roles

SENSOR_UNKNOWN = (
    "The laboratory has no sensor {sensor!r}, and no record that you may ask about names it."
)
MAP_UNKNOWN = "No channel map is saved as {name!r}."
MAP_WITHOUT = "The channel map {name!r} names no sensor."


@dataclass(frozen=True)
class Asked:
    """A question that was asked, and whether it had been asked before."""

    what_if: WhatIf
    is_new: bool


def map_sensors(name: str) -> list[str]:
    """The sensors of a saved channel map's last version, which is usually one for each machine.

    Raises:
        ShapeError: ``channels.map-unknown`` or ``what-if.no-sensor``.
    """
    saved = ChannelMapSaved.objects.filter(name=name).order_by("-version").first()
    if saved is None:
        raise ShapeError("channels.map-unknown", MAP_UNKNOWN.format(name=name), name=name)
    found = sorted({entry["sensor"] for entry in saved.entries if entry.get("sensor")})
    if not found:
        raise ShapeError("what-if.no-sensor", MAP_WITHOUT.format(name=name), name=name)
    return found


def what_if_ask(
    *,
    actor: Person,
    errors: Sequence[AssumedError],
    since: date,
    until: date | None,
    why: str,
    now: datetime,
) -> Asked:
    """Ask, in the background; nothing that is stored is changed by it.

    The programmes that are looked at are those of the person in which the sensors have numbers,
    or all of theirs where they have none. The same question again gives what was asked first,
    unless that came to no answer or the records have changed since.

    Args:
        actor: lead or manager of a programme.
        errors: one for each sensor.
        since, until: days of tests, both counted; None for an error that goes on.
        why: the occasion, kept with the question.
        now: of the asking.

    Raises:
        NotFound: not the person's to do.
        ShapeError: what cannot be asked.
    """
    codes = programmes_asked(actor)
    check_storable([error.as_dict() for error in errors], argument="errors")
    reason = check_why(why)
    zone = laboratory_get().time_zone
    question = check_question(errors, since, until, zone)
    uses = use_list(sensors=question.sensors, programmes=codes, zone=ZoneInfo(zone))
    _check_sensors(question, uses)
    inside = within(uses, question.since, question.until)
    touched = {use.reduction.record.subject.programme_code for use in inside}
    scope = sorted(touched or codes)
    with ledger_transaction():
        before = _asked_before(question, scope)
        if before is not None:
            return Asked(before, is_new=False)
        return Asked(_ask(actor, question, scope, reason, now), is_new=True)


def _check_sensors(question: Question, uses: Sequence[Use]) -> None:
    """Refuses sensors that nobody knows, and errors that a sensor cannot have."""
    measures = {
        entry["sensor"]: (entry["quantity"], entry["unit"])
        for use in uses
        for entry in use.entries_of(question.sensors)
    }
    for sensor in Sensor.objects.filter(serial__in=question.sensors):
        measures[sensor.serial] = (sensor.quantity, sensor.unit)
    for error in question.errors:
        if error.sensor not in measures:
            words = SENSOR_UNKNOWN.format(sensor=error.sensor)
            raise ShapeError("what-if.sensor-unknown", words, sensor=error.sensor)
        check_measures(error, *measures[error.sensor])


def programmes_asked(actor: Person) -> list[str]:
    """Codes of the programmes about which a person may ask, in order.

    Raises:
        NotFound: there is none.
    """
    roles = programme_roles(actor)
    codes = sorted(code for code, role in roles.items() if allowed(role, Action.ASK_WHAT_IF))
    if not codes:
        require(next(iter(roles.values()), None), Action.ASK_WHAT_IF)
    return codes


def _fingerprint(question: Question, scope: Sequence[str]) -> str:
    return content_key({"question": question.as_dict(), "programmes": list(scope)})


def _asked_before(question: Question, scope: Sequence[str]) -> WhatIf | None:
    """The last question of the same wording, if it is still worked on or its answer holds."""
    last = (
        WhatIf.objects.filter(fingerprint=_fingerprint(question, scope))
        .select_related("answer")
        .order_by("-asked_at", "-id")
        .first()
    )
    if last is None:
        return None
    if hasattr(last, "answer"):
        return None if what_if_changes(last) else last
    job = what_if_job(last)
    is_running = job is not None and job.state in (Job.State.WAITING, Job.State.RUNNING)
    return last if is_running else None


def _ask(
    actor: Person, question: Question, scope: Sequence[str], why: str, now: datetime
) -> WhatIf:
    what_if = WhatIf(
        fingerprint=_fingerprint(question, scope),
        question=question.as_dict(),
        asked_by=str(actor.id),
        asked_at=now,
        why=why,
    )
    alone = len(question.errors) == 1
    what_if.entry = ledger_append(
        actor=str(actor.id),
        kind="what-if",
        subject=sensor_subject(question.sensors[0]) if alone else "sensors",
        body={
            "id": str(what_if.id),
            "question": what_if.question,
            "programmes": list(scope),
            "why": why,
        },
        now=now,
    )
    what_if.save(force_insert=True)
    what_if.programmes.set(Programme.objects.filter(code__in=list(scope)))
    job_submit(
        kind=WHAT_IF_KIND,
        key=what_if_job_key(what_if),
        payload={"what_if": str(what_if.id)},
        now=now,
        queue=Job.Queue.LONG,
    )
    return what_if
