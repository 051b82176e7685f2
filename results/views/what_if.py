"""What if a sensor was out? Ask, see how far it is, read the answer, take it away."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.views import View

from labmatrix.evidence.models import Job
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, ShapeError, UserError
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import NOT_YOURS
from labmatrix.web.refused import refuse, status_shown
from results.domain.moved_numbers import counted
from results.domain.what_if_question import Question, period_said, question_said
from results.models import WhatIf
from results.selectors.what_if import (
    may_ask_what_if,
    programme_codes,
    what_if_changes,
    what_if_get,
    what_if_jobs,
    what_if_list_visible,
    what_if_state,
)
from results.services.what_if import programmes_asked, what_if_ask
from results.takeaway.tables import TABLE_TYPES, table_as
from results.takeaway.wording import file_name
from results.views.takeaway import file_answer, units_asked
from results.views.work import work_answer
from results.what_if_files import answer_tables, origin_said
from results.what_if_forms import WhatIfForm, sensor_choice
from results.what_if_tables import (
    CONVENTION,
    cells_table,
    change_payload,
    conclusion_tables,
    conclusions_said,
    kinds_of,
    largest_by_specimen,
    metrics_table,
    numbers_table,
)
from specimens.selectors.event import people_names

ROWS_ON_A_PAGE = 50
ASKED_BEFORE = (
    "The same was asked before, and nothing it rests on has changed since: this is its answer."
)
FIGURE_SAID = (
    "How far each kind of number moves: one point a specimen, the largest of its changes, for {n}."
)


class WhatIfList(View):
    """Questions that were asked, newest first."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """A page of them."""
        actor = actor_of(request)
        found = what_if_list_visible(actor=actor)
        page = Paginator(found, ROWS_ON_A_PAGE).get_page(request.GET.get("page"))
        names = people_names([one.asked_by for one in page.object_list])
        jobs = what_if_jobs(page.object_list)
        rows = [_list_row(one, names.get(one.asked_by, ""), jobs) for one in page.object_list]
        context = {"page": page, "rows": rows, "may_ask": may_ask_what_if(actor)}
        return render(request, "results/what_if_list.html", context)


def _list_row(what_if: WhatIf, by: str, jobs: Mapping[str, Job]) -> dict[str, Any]:
    question = Question.from_dict(what_if.question)
    return {
        "what_if": what_if,
        "said": question_said(question),
        "answer": what_if.answer.said if hasattr(what_if, "answer") else "",
        "status": what_if_state(what_if, jobs)["status"],
        "by": by,
    }


class WhatIfNew(View):
    """Ask."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form; ``sensor`` in the query chooses one."""
        programmes_asked(actor_of(request))
        sensor = request.GET.get("sensor", "")
        initial = {"of": sensor_choice(sensor)} if sensor else {}
        return self._page(request, WhatIfForm(initial=initial, also=sensor))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Ask in the background, and go to where the answer will stand."""
        actor = actor_of(request)
        programmes_asked(actor)
        form = WhatIfForm(request.POST, also=request.GET.get("sensor", ""))
        if form.is_valid():
            told = form.cleaned_data
            try:
                asked = what_if_ask(
                    actor=actor,
                    errors=form.errors_assumed(),
                    since=told["since"],
                    until=told["until"],
                    why=told["why"],
                    now=now(),
                )
            except UserError as error:
                refuse(form, error)
            else:
                if not asked.is_new:
                    messages.info(request, ASKED_BEFORE)
                return redirect("results:what-if", what_if_id=asked.what_if.id)
        return self._page(request, form)

    def _page(self, request: HttpRequest, form: WhatIfForm) -> HttpResponse:
        context = {"form": form, "convention": CONVENTION}
        status = status_shown(request, form)
        return render(request, "results/what_if_new.html", context, status=status)


class WhatIfPage(View):
    """One question with its answer."""

    def get(self, request: HttpRequest, what_if_id: str) -> HttpResponse:
        """The page; ``kind`` chooses which numbers are shown one by one."""
        what_if = what_if_get(actor=actor_of(request), what_if_id=what_if_id)
        question = Question.from_dict(what_if.question)
        state = what_if_state(what_if)
        programmes = list(what_if.programmes.all())
        context: dict[str, Any] = {
            "what_if": what_if,
            "title": question_said(question),
            "sensors": ", ".join(question.sensors),
            "period": period_said(question),
            "asked_by": people_names([what_if.asked_by]).get(what_if.asked_by, ""),
            "programmes": ", ".join(programme_codes(what_if)),
            "state": state,
            "convention": CONVENTION,
        }
        if any(programme.is_invented for programme in programmes):
            context["invented_data_notice"] = True
        if hasattr(what_if, "answer"):
            context |= _answer(what_if, request.GET.get("kind"), request.GET.get("page"))
        return render(request, "results/what_if.html", context)


def _answer(what_if: WhatIf, asked: str | None, page_asked: str | None) -> dict[str, Any]:
    answer = what_if.answer
    content = answer.content
    moving = answer.numbers.filter(moves=True).order_by("place")
    drawn = largest_by_specimen(moving)
    kinds = kinds_of(content)
    specimens = len({number.specimen for number in drawn})
    found: dict[str, Any] = {
        "answer": answer,
        "content": content,
        "changes": what_if_changes(what_if),
        "concluded": conclusions_said(content),
        "cells": cells_table(content) if content["cells"] else None,
        "metrics": metrics_table(content) if content["metrics"] else None,
        "payload": change_payload(drawn) if drawn else None,
        "figure_caption": FIGURE_SAID.format(n=counted(specimens, "specimen")),
        "kinds": kinds,
    }
    if not kinds:
        return found
    kind = next((one for one in kinds if one["value"] == asked), kinds[0])
    own = moving.filter(name=kind["name"], method=kind["method"])
    page = Paginator(own, ROWS_ON_A_PAGE).get_page(page_asked)
    caption = f"{kind['words'].capitalize()}, every value that moves."
    return found | {
        "kind": kind,
        "query": urlencode({"kind": kind["value"]}),
        "page": page,
        "numbers": numbers_table(page.object_list, caption, kind["unit"]) if page else None,
        "conclusions": conclusion_tables(content, kind["name"], kind["method"]),
    }


class WhatIfProgress(View):
    """How far the work is, for the page's script."""

    def get(self, request: HttpRequest, what_if_id: str) -> HttpResponse:
        """{status, words, next, progress, error, finished, version}."""
        what_if = what_if_get(actor=actor_of(request), what_if_id=what_if_id)
        return work_answer(request, what_if_state(what_if))


class WhatIfTable(View):
    """The answer as CSV or XLSX."""

    def get(self, request: HttpRequest, what_if_id: str, kind: str) -> HttpResponse:
        """The file, with the question and its origin at the foot."""
        what_if = what_if_get(actor=actor_of(request), what_if_id=what_if_id)
        if not hasattr(what_if, "answer"):
            raise NotFound("access.not-yours", NOT_YOURS)
        if kind not in ("csv", "xlsx"):
            words = f"A table was asked for as {kind!r}; allowed are csv, xlsx."
            raise ShapeError("takeaway.format", words, allowed=["csv", "xlsx"])
        tables = answer_tables(what_if)
        content = table_as(kind, tables, origin_said(what_if), units_asked(request))
        name = file_name("what-if", str(what_if), ending=kind)
        return file_answer(content, TABLE_TYPES[kind], name)
