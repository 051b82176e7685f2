"""Read questions on assumed errors, their state and their answers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from labmatrix.evidence.models import Job
from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Programme, Series
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed, require
from labmatrix.web.models import Person
from results.domain.moved_numbers import counted
from results.domain.what_if_question import Question, question_said
from results.models import Prediction, WhatIf, WhatIfNumber
from results.selectors.sensor_use import Use, keys_beside, use_list, within
from specimens.models import Specimen
from specimens.selectors.access import programme_roles

WHAT_IF_KIND = "what-if"


def may_ask_what_if(actor: Person) -> bool:
    """Whether there is a programme about which the person may ask."""
    return any(allowed(role, Action.ASK_WHAT_IF) for role in programme_roles(actor).values())


def _visible(actor: Person) -> QuerySet[WhatIf]:
    """Questions all of whose programmes' work the person sees; those of nobody's are none."""
    roles = programme_roles(actor)
    mine = [code for code, role in roles.items() if allowed(role, Action.SEE_WORK)]
    others = Programme.objects.exclude(code__in=mine)
    found = WhatIf.objects.exclude(programmes__in=others)
    return found if mine else found.none()


def what_if_ids_visible(actor: Person) -> list[str]:
    """Ids of the questions that the person sees, none for somebody who sees no work."""
    return [str(key) for key in _visible(actor).values_list("pk", flat=True)]


def what_if_list_visible(*, actor: Person) -> QuerySet[WhatIf]:
    """Questions on programmes all of whose work the person sees, newest first.

    Raises:
        NotFound: somebody who sees no work anywhere.
    """
    roles = programme_roles(actor)
    if not any(allowed(role, Action.SEE_WORK) for role in roles.values()):
        require(next(iter(roles.values()), None), Action.SEE_WORK)
    return (
        _visible(actor)
        .select_related("answer")
        .defer("answer__snapshot")
        .prefetch_related("programmes")
        .order_by("-asked_at", "id")
    )


def what_if_get(*, actor: Person, what_if_id: str) -> WhatIf:
    """A question by its id, with its answer where there is one.

    Raises:
        NotFound: not there, or about a programme whose work the person does not see.
    """
    found = what_if_list_visible(actor=actor).filter(pk=what_if_id).first()
    if found is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return found


def what_if_job_key(what_if: WhatIf) -> str:
    """Of the job that answers the question."""
    return f"{WHAT_IF_KIND}:{what_if.id}"


def what_if_job(what_if: WhatIf) -> Job | None:
    """The job that answers the question."""
    return Job.objects.filter(key=what_if_job_key(what_if)).first()


def what_if_jobs(what_ifs: Iterable[WhatIf]) -> dict[str, Job]:
    """The jobs that answer the questions of a list, by their key; one query."""
    keys = [what_if_job_key(one) for one in what_ifs]
    return {job.key: job for job in Job.objects.filter(key__in=keys)}


def what_if_state(what_if: WhatIf, jobs: Mapping[str, Job] | None = None) -> dict[str, Any]:
    """How far the work on the question is, as ``progress.js`` reads it, and its error.

    Args:
        what_if: the question.
        jobs: those of the list that it stands in; read for it alone unless given.
    """
    job = what_if_job(what_if) if jobs is None else jobs.get(what_if_job_key(what_if))
    is_done = hasattr(what_if, "answer")
    status = "done" if is_done else (job.state if job else Job.State.FAILED)
    running = status in (Job.State.WAITING, Job.State.RUNNING)
    words = job.progress_words if job and running else {"done": "Worked out"}.get(status, status)
    found: dict[str, Any] = {
        "status": str(status),
        "stage": str(status),
        "words": (words[:1].upper() + words[1:]) or "Waiting for a worker",
        "progress": {"fraction": job.progress if job and running else 1.0},
        "error": None if job is None or is_done else job.error,
        "finished": not running,
        "version": str(status),
    }
    return found | ({"next": "the answer stands here"} if running else {})


def programme_codes(what_if: WhatIf) -> list[str]:
    """Codes of the programmes that are looked at, in order."""
    return sorted(programme.code for programme in what_if.programmes.all())


def uses_of(what_if: WhatIf) -> tuple[list[Use], list[Use]]:
    """All current uses of the question's sensors, and those of them inside its period."""
    question = Question.from_dict(what_if.question)
    uses = use_list(
        sensors=question.sensors,
        programmes=programme_codes(what_if),
        zone=ZoneInfo(question.zone),
    )
    return uses, within(uses, question.since, question.until)


def basis_of(uses: list[Use]) -> dict[str, Any]:
    """What an answer rests on: keys of the reductions computed again, of the other current ones
    in their series, of the predictions there, and the specimens that a person left out."""
    series = sorted({use.specimen.cell.series_id for use in uses})
    keys = sorted(use.key for use in uses)
    left_out = Specimen.objects.filter(cell__series__in=series, state__is_excluded=True)
    predictions = Prediction.objects.filter(cell__series__in=series, is_current=True)
    return {
        "reductions": keys,
        "beside": keys_beside(series, keys),
        "predictions": sorted(predictions.values_list("key", flat=True)),
        "left_out": sorted(left_out.values_list("code", flat=True)),
    }


def what_if_changes(what_if: WhatIf) -> list[str]:
    """What has changed since the answer was computed, in sentences; empty for nothing."""
    then: Mapping[str, Any] = what_if.answer.content["basis"]
    _, inside = uses_of(what_if)
    present = basis_of(inside)
    words = []
    for name, new, gone in (
        ("reductions", "{count} measured with the sensor has come in", "{count} that was computed"
         " again here is not the current one any more"),
        ("beside", "{count} of the same series has come in",
         "{count} that the conclusions rest on is not the current one any more"),
    ):  # fmt: skip
        before, after = set(then[name]), set(present[name])
        for told, keys in ((new, after - before), (gone, before - after)):
            if keys:
                said = told.format(count=counted(len(keys), "reduction"))
                words.append(_plural(said, len(keys)))
    if then["predictions"] != present["predictions"]:
        words.append("predictions of the series have changed")
    if then["left_out"] != present["left_out"]:
        words.append("other specimens are left out of comparisons")
    return words


def _plural(words: str, count: int) -> str:
    if count == 1:
        return words
    return (
        words.replace(" has ", " have ")
        .replace(" was ", " were ")
        .replace(" is not the current one", " are not the current ones")
    )


def number_as_dict(number: WhatIfNumber) -> dict[str, Any]:
    """One number, before and after, as the API gives it."""
    return {
        "metric": str(number.metric_id) if number.metric_id else None,
        "specimen": number.specimen,
        "cell": number.cell,
        "series": number.series,
        "name": number.name,
        "method": number.method or None,
        "at": number.at,
        "unit": number.unit,
        "old": {"value": number.old_value, "bound": number.old_bound or None},
        "new": {"value": number.new_value, "bound": number.new_bound or None},
        "relative": number.relative,
        "moves": number.moves,
    }


def what_if_as_dict(
    what_if: WhatIf, *, whole: bool = False, jobs: Mapping[str, Job] | None = None
) -> dict[str, Any]:
    """A question as the API gives it; whole with its answer, all but the single numbers."""
    question, state = Question.from_dict(what_if.question), what_if_state(what_if, jobs)
    found: dict[str, Any] = {
        "id": str(what_if.id),
        "question": what_if.question,
        "said": question_said(question),
        "asked_at": iso(what_if.asked_at),
        "asked_by": what_if.asked_by,
        "why": what_if.why,
        "programmes": programme_codes(what_if),
        **{name: state[name] for name in ("status", "progress", "error")},
        "answered_at": None,
        "answer": None,
    }
    if hasattr(what_if, "answer"):
        answer = what_if.answer
        found["answered_at"] = iso(answer.answered_at)
        found["answer"] = answer.content if whole else {"said": answer.said}
        found["sha256"] = answer.sha256
        if whole:
            found["changed_since"] = what_if_changes(what_if)
    return found


def series_list_of(codes: set[str]) -> list[Series]:
    """Series by their codes, with their programmes."""
    return list(Series.objects.filter(code__in=codes).select_related("programme").order_by("code"))
