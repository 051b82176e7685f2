"""Addresses of this room's pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from labmatrix.matrix import cell_views, people_views, plan_views, series_views, views

app_name = "matrix"
_PROGRAMME = "programmes/<str:code>/"
_PERSON = "people/<uuid:person_id>/"
_SERIES = "series/<str:code>/"
_CELL = f"{_SERIES}cells/<str:cell>/"
urlpatterns: list[URLPattern] = [
    path("programmes/", views.home, name="home"),
    path("people/", people_views.people, name="people"),
    path("people/invite/", people_views.person_invite, name="person-invite"),
    path(
        "people/invitations/<uuid:invitation_id>/withdraw/",
        people_views.invitation_withdrawn,
        name="invitation-withdraw",
    ),
    path(_PERSON, people_views.person_detail, name="person-detail"),
    path(f"{_PERSON}leave/", people_views.person_out, name="person-leave"),
    path(f"{_PERSON}erase/", people_views.name_erase, name="person-erase"),
    path(f"{_PERSON}return/", people_views.person_return, name="person-return"),
    path("join/<str:token>/", people_views.join, name="join"),
    path("programmes/new/", views.programme_new, name="programme-new"),
    path(_PROGRAMME, views.programme_detail, name="programme-detail"),
    path(f"{_PROGRAMME}people/", views.member_set, name="member-set"),
    path(f"{_PROGRAMME}series/new/", views.series_new, name="series-new"),
    path(_SERIES, series_views.series_detail, name="series-detail"),
    path(f"{_SERIES}change/", series_views.series_edit, name="series-edit"),
    path(f"{_SERIES}member/", plan_views.member_edit, name="member-edit"),
    path(f"{_SERIES}route/", plan_views.route_edit, name="route-edit"),
    path(f"{_SERIES}matrix/", series_views.matrix_upload, name="matrix-upload"),
    path(f"{_SERIES}matrix.json", series_views.series_file, name="series-file"),
    path(f"{_SERIES}factors/new/", series_views.factor_new, name="factor-new"),
    path(f"{_SERIES}factors/<int:position>/", series_views.factor_edit, name="factor-edit"),
    path(f"{_SERIES}factors/<int:position>/new/", series_views.level_new, name="level-new"),
    path(f"{_SERIES}forbidden/new/", series_views.forbidden_new, name="forbidden-new"),
    path(f"{_SERIES}cells/all/", series_views.cells_all, name="cells-all"),
    path(f"{_SERIES}cells/new/", cell_views.cell_new, name="cell-new"),
    path(f"{_SERIES}controls/", series_views.controls_name, name="controls-name"),
    path(_CELL, cell_views.cell_detail, name="cell-detail"),
    path(f"{_CELL}change/", cell_views.cell_edit, name="cell-edit"),
]
