"""Addresses of questions on assumed errors, pages and API."""

from __future__ import annotations

from django.urls import path

from results import what_if_api
from results.views import what_if

_ONE = "what-if/<uuid:what_if_id>/"

pages = [
    path("what-if/", what_if.WhatIfList.as_view(), name="what-if-list"),
    path("what-if/new/", what_if.WhatIfNew.as_view(), name="what-if-new"),
    path(_ONE, what_if.WhatIfPage.as_view(), name="what-if"),
    path(f"{_ONE}progress/", what_if.WhatIfProgress.as_view(), name="what-if-progress"),
    path(f"{_ONE}table.<str:kind>", what_if.WhatIfTable.as_view(), name="what-if-table"),
]
api = [
    path("what-if/", what_if_api.WhatIfsView.as_view(), name="what-ifs"),
    path(_ONE, what_if_api.WhatIfView.as_view(), name="what-if"),
    path(f"{_ONE}numbers/", what_if_api.WhatIfNumbersView.as_view(), name="what-if-numbers"),
]
