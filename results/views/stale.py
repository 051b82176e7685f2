"""Numbers out of date: which they are, and one button for all."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.web.actor import actor_of
from results.services.stale import predictions_stale, stale_in_words, stale_list, stale_reduce_again
from results.views.work import work_answer

ROWS_ON_A_PAGE = 100
NOTHING = "Nothing is out of date that is not being reduced already."


class StaleList(View):
    """Records whose inputs changed since their numbers were computed."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The list with its count."""
        found = stale_list(actor=actor_of(request))
        context = {
            "page": Paginator(found, ROWS_ON_A_PAGE).get_page(request.GET.get("page")),
            "count": len(found),
            "predicted": predictions_stale(actor=actor_of(request)),
            "waiting": sum(not one.is_working for one in found),
        }
        return render(request, "results/record_stale.html", context)

    def post(self, request: HttpRequest) -> HttpResponse:
        """Have all of them reduced again."""
        count = len(stale_reduce_again(actor=actor_of(request), now=now()))
        words = f"Asked for {count} reduction{'' if count == 1 else 's'}." if count else NOTHING
        messages.info(request, words)
        return redirect("results:record-stale")


class StaleState(View):
    """The same in a sentence, for the first page, which does not wait for it."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The JSON."""
        words = stale_in_words(actor=actor_of(request))
        return work_answer(request, {"words": words, "progress": None, "finished": True})
