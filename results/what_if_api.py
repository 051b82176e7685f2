"""What an assumed error of sensors would change: ask, read the answer."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.web.actor import actor_of
from labmatrix.web.paging import Pages
from results.models import WhatIfNumber
from results.selectors.what_if import (
    number_as_dict,
    what_if_as_dict,
    what_if_get,
    what_if_jobs,
    what_if_list_visible,
)
from results.services.what_if import programmes_asked, what_if_ask
from results.what_if_forms import WhatIfRequest, errors_asked

MOVES = "moves is {given!r}; allowed are true and false."


class WhatIfsView(APIView):
    """GET and POST /api/what-if/."""

    @extend_schema(operation_id="what_if_list", responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """Questions whose programmes' work the person sees, newest first, a page at a time."""
        found = what_if_list_visible(actor=actor_of(request))
        pages = Pages()
        page = pages.paginate_queryset(found, request, view=self) or []
        jobs = what_if_jobs(page)
        return pages.get_paginated_response([what_if_as_dict(one, jobs=jobs) for one in page])

    @extend_schema(request=WhatIfRequest, responses={202: OpenApiTypes.OBJECT})
    def post(self, request: Request) -> Response:
        """Ask in the background; 200 with the first answer where the same was asked before."""
        actor = actor_of(request)
        programmes_asked(actor)
        sent = WhatIfRequest(data=request.data)
        sent.is_valid(raise_exception=True)
        data = dict(sent.validated_data)
        asked = what_if_ask(
            actor=actor,
            errors=errors_asked(data),
            since=data["since"],
            until=data["until"],
            why=data["why"],
            now=now(),
        )
        answer = what_if_as_dict(asked.what_if) | {"asked_before": not asked.is_new}
        return Response(answer, status=202 if asked.is_new else 200)


class WhatIfView(APIView):
    """GET /api/what-if/{id}/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, what_if_id: str) -> Response:
        """A question, how far it is, and its answer with cells and conclusions."""
        found = what_if_get(actor=actor_of(request), what_if_id=what_if_id)
        return Response(what_if_as_dict(found, whole=True))


class WhatIfNumbersView(APIView):
    """GET /api/what-if/{id}/numbers/."""

    @extend_schema(
        parameters=[
            OpenApiParameter("moves", bool, description="Only those that move, or do not."),
            OpenApiParameter("specimen", str),
            OpenApiParameter("name", str, description="Of the metric."),
        ],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request, what_if_id: str) -> Response:
        """Every number as it stood and as it would be, a page at a time; none before the answer."""
        what_if = what_if_get(actor=actor_of(request), what_if_id=what_if_id)
        found = WhatIfNumber.objects.filter(answer__question=what_if).order_by("place")
        query = request.query_params
        for name in ("specimen", "name"):
            if value := query.get(name):
                found = found.filter(**{name: value})
        if (given := query.get("moves")) is not None:
            if given not in ("true", "false"):
                raise ShapeError("what-if.moves", MOVES.format(given=given))
            found = found.filter(moves=given == "true")
        pages = Pages()
        page = pages.paginate_queryset(found, request, view=self)
        return pages.get_paginated_response([number_as_dict(number) for number in page or []])
