"""Reductions out of date, by the API."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import iso, now
from labmatrix.web.actor import actor_of
from labmatrix.web.paging import Pages
from results.services.stale import Stale, stale_list, stale_reduce_again


def _as_dict(one: Stale) -> dict[str, object]:
    return {
        "record": str(one.record.pk),
        "subject": one.record.subject.code,
        "test": one.record.test,
        "key": one.reduction.key,
        "reduced_at": iso(one.reduction.reduced_at),
        "changed": list(one.changed),
        "is_working": one.is_working,
    }


class StaleView(APIView):
    """GET and POST /api/reductions/stale/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """Records whose numbers are out of date, and what changed since; a page at a time."""
        found = stale_list(actor=actor_of(request))
        pages = Pages()
        page = pages.paginate_queryset(found, request, view=self)
        return pages.get_paginated_response([_as_dict(one) for one in page or []])

    @extend_schema(request=None, responses={202: OpenApiTypes.OBJECT})
    def post(self, request: Request) -> Response:
        """Reduce all of them again; what stood before stays beside it with the reason."""
        jobs = stale_reduce_again(actor=actor_of(request), now=now())
        return Response({"count": len(jobs), "jobs": [str(job.pk) for job in jobs]}, status=202)
