"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class ResultsConfig(AppConfig):
    """Reductions, comparison and every page that mixes floors."""

    name = "results"
    label = "results"

    def ready(self) -> None:
        """Take the reductions among the jobs; put the door into the head of the pages."""
        from labmatrix.evidence import guards
        from labmatrix.evidence.registry import handler_register, mirror_register
        from labmatrix.matrix.links import PageLink, Place, link_register
        from labmatrix.web.domain.roles import Action
        from labmatrix.web.navigation import door_register, work_register
        from results.selectors.what_if import WHAT_IF_KIND
        from results.services.history import JOB_KIND as HISTORY_KIND
        from results.services.history import HistoryHandler
        from results.services.history_write import typed_mirror
        from results.services.imported import correction_mirror
        from results.services.prediction import JOB_KIND as PREDICT_KIND
        from results.services.prediction import PredictHandler
        from results.services.record import JOB_KIND
        from results.services.reduce import ReduceHandler
        from results.services.release import release_mirror
        from results.services.what_if_work import WhatIfHandler, what_if_mirror

        handler_register(JOB_KIND, ReduceHandler())
        handler_register(PREDICT_KIND, PredictHandler())
        handler_register(WHAT_IF_KIND, WhatIfHandler())
        for table in (
            "release",
            "typedcorrection",
            "typedresult",
            "whatif",
            "whatif_programmes",
            "whatifanswer",
            "whatifnumber",
        ):
            guards.protect(f"results_{table}")
        handler_register(HISTORY_KIND, HistoryHandler())
        mirror_register(typed_mirror)
        mirror_register(correction_mirror)
        mirror_register(release_mirror)
        mirror_register(what_if_mirror)
        door_register(place=1, label="Today", url_name="results:first")
        for at, label, url_name in (
            (25, "Materials", "results:materials"),
            (40, "Records", "results:record-list"),
        ):
            door_register(place=at, label=label, url_name=url_name, action=Action.SEE_WORK)
        door_register(place=60, label="Calculators", url_name="results:calculators")
        work_register(page="results:work", state="results:work-state")
        for label, url_name in (("Plate", "results:plate"), ("Comparison", "results:comparison")):
            link_register(PageLink(Place.SERIES, label, url_name, Action.SEE_WORK))
        for place, label, url_name in (
            (Place.PROGRAMME, "Progress and releases", "results:programme-progress"),
            (Place.SERIES, "Progress", "results:progress"),
            (Place.SERIES, "Releases", "results:releases"),
        ):
            link_register(PageLink(place, label, url_name))
        for label, url_name in (
            ("Materials", "results:series-materials"),
            ("Predictions", "results:predictions"),
            ("Test to prediction", "results:test-to-prediction"),
        ):
            link_register(PageLink(Place.SERIES, label, url_name, Action.SEE_WORK))
        self._link_specimens()

    def _link_specimens(self) -> None:
        """Hang links to this room's pages on those of specimens, and of programmes."""
        from labmatrix.matrix.links import PageLink, Place, link_register
        from labmatrix.web.domain.roles import Action

        link_register(
            PageLink(Place.SPECIMEN, "Pre-test sheet", "results:pre-test", Action.SEE_WORK)
        )
        link_register(
            PageLink(Place.SPECIMEN, "Its life as a ribbon", "results:life", Action.SEE_WORK)
        )
        link_register(
            PageLink(
                Place.PROGRAMME,
                "Take in finished specimens",
                "results:history",
                Action.TAKE_HISTORY,
            )
        )
        numbers = ("Numbers of the cell (XLSX)", "results:cell-table")
        link_register(PageLink(Place.CELL, *numbers, Action.SEE_WORK))
        link_register(
            PageLink(Place.SPECIMEN, "Imported numbers", "results:imported", Action.SEE_WORK)
        )
        for label, url_name in (
            ("Pre-test sheet", "results:pre-test"),
            ("Its life as a ribbon", "results:life"),
        ):
            link_register(PageLink(Place.SPECIMEN, label, url_name, Action.SEE_WORK))
        for place, label, url_name, action, name in (
            (Place.SPECIMEN, "Its records", "results:record-list", Action.SEE_WORK, "subject"),
            (Place.SPECIMEN, "Upload a record", "results:record-new", Action.SEE_WORK, "subject"),
            (
                Place.SENSOR,
                "What if it was out?",
                "results:what-if-new",
                Action.ASK_WHAT_IF,
                "sensor",
            ),
        ):
            link_register(PageLink(place, label, url_name, action, query=(name,)))
