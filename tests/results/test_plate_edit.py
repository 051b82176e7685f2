"""Planned cells changed on the plate, by page and API: what is written, and what is refused."""

from __future__ import annotations

import html
import json
import re

import pytest

from labmatrix.evidence.models import LedgerEntry
from labmatrix.kernel.errors import RuleBroken
from labmatrix.matrix.domain import plan_rules as rules
from labmatrix.matrix.models import Cell, CellLevel, Factor, ForbiddenCombination, Level
from labmatrix.matrix.selectors.cell import cell_stamp
from labmatrix.matrix.services.cell import cell_add, cell_change, cell_withdraw
from tests.results.scene import NOW, Scene

PANEL = "/series/QS/plate/cells/P2-LAB/"
NEW = "/series/QS/plate/new/"


def words(answer) -> str:
    """What a page says, without markup."""
    text = html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode()))
    return re.sub(r"\s+", " ", text)


def asked(cell: Cell, **instead) -> dict[str, str]:
    """The panel's form as it stands, with some of it changed."""
    cell = Cell.objects.get(pk=cell.pk)
    return {
        "replicates": str(cell.replicates),
        "gain_control": cell.gain_control.code if cell.gain_control else "",
        "conditioning_control": cell.conditioning_control.code if cell.conditioning_control else "",
        "note": cell.note,
        "why": "",
        "seen": cell_stamp(cell),
        **instead,
    }


def last() -> tuple[str, dict]:
    """Subject and body of the newest entry of the ledger."""
    entry = LedgerEntry.objects.latest("seq")
    return entry.subject, json.loads(entry.content)["body"]


def without_twin(cast: Scene) -> None:
    """Take the exposed unstrengthened cell out of the matrix."""
    twin = cast.cells["P0-WDS"]
    Cell.objects.filter(gain_control=twin).update(gain_control=None)
    twin.cell_levels.all().delete()
    twin.delete()


def test_a_square_opens_its_cell_and_a_change_goes_into_the_ledger(cast: Scene, client):
    client.force_login(cast.lead)
    assert f'href="{PANEL}' in client.get("/series/QS/plate/").content.decode()
    answer = client.post(f"{PANEL}?down=exposure", asked(cast.cells["P2-LAB"], replicates="5"))
    assert answer.status_code == 302
    assert answer["Location"] == "/series/QS/plate/?down=exposure#cell-P2-LAB"
    assert last() == (
        "cell/QS/P2-LAB",
        {"before": {"replicates": 3}, "after": {"replicates": 5}, "why": rules.BEFORE_CASTING},
    )
    assert "replicates: 3 → 5" in words(client.get(PANEL))


def test_once_cast_a_reason_is_demanded_and_the_route_that_stays_is_said(cast: Scene, client):
    cast.specimen("P2-LAB")
    client.force_login(cast.lead)
    page = words(client.get(PANEL))
    assert "1 specimen keeps the route of the day" in page
    assert "nor withdrawn" in page
    before = LedgerEntry.objects.count()
    answer = client.post(PANEL, asked(cast.cells["P2-LAB"], note="spare girder"))
    assert answer.status_code == 400
    assert rules.REASON_CELL.format(cast="1 specimen was", cell="P2-LAB") in words(answer)
    assert LedgerEntry.objects.count() == before
    given = asked(cast.cells["P2-LAB"], note="spare girder", gain_control="P0-WDS", why="asked for")
    assert client.post(PANEL, given).status_code == 302
    _, body = last()
    assert body["after"] == {"gain_control": "P0-WDS", "note": "spare girder"}
    assert body["why"] == "asked for"
    # Another cell of the series has nothing cast, and needs none.
    other = asked(cast.cells["P2-WDS"], replicates="4")
    assert client.post("/series/QS/plate/cells/P2-WDS/", other).status_code == 302


def test_specimens_with_a_label_are_not_planned_away(cast: Scene, client):
    cast.specimen("P2-LAB")
    cast.specimen("P2-LAB")
    client.force_login(cast.lead)
    answer = client.post(PANEL, asked(cast.cells["P2-LAB"], replicates="1", why="less money"))
    assert answer.status_code == 409
    assert "2 carry a label already; allowed are 2 or more" in words(answer)
    assert Cell.objects.get(code="P2-LAB").replicates == 3
    answer = client.post(f"{PANEL}withdraw/", {"why": "less money"})
    assert answer.status_code == 409
    assert "P2-LAB cannot be withdrawn: 2 of its specimens carry a label" in words(answer)


def test_a_cell_is_withdrawn_with_a_reason_once_the_series_was_cast(cast: Scene, client):
    cast.specimen("P0-LAB")
    client.force_login(cast.lead)
    answer = client.post(f"{PANEL}withdraw/", {"why": ""})
    assert answer.status_code == 400
    assert rules.REASON_SERIES.format(cast="1 specimen was") in words(answer)
    assert client.post(f"{PANEL}withdraw/", {"why": "no lot left"}).status_code == 302
    assert last()[1] == {
        "before": {"replicates": 3},
        "after": {"replicates": 0},
        "why": "no lot left",
    }
    page = words(client.get("/series/QS/plate/"))
    assert "withdrawn" in page
    # A count of 0 on the cell's own page is the same, under the same rule.
    with pytest.raises(RuleBroken) as refused:
        cell_withdraw(actor=cast.lead, cell=cast.cells["P0-LAB"], why="no lot", now=NOW)
    assert refused.value.code == "cell.withdraw-made"


def test_what_somebody_changed_meanwhile_is_not_written_over(cast: Scene, client):
    cell = cast.cells["P2-LAB"]
    mine = asked(cell, replicates="6")
    theirs = Cell.objects.get(pk=cell.pk)
    cell_change(
        actor=cast.lead, cell=theirs, replicates=2, gain_control=theirs.gain_control,
        conditioning_control=None, note="", why="", now=NOW,
    )  # fmt: skip
    client.force_login(cast.lead)
    answer = client.post(PANEL, mine)
    assert answer.status_code == 409
    assert rules.CHANGED_MEANWHILE.format(cell="P2-LAB") in words(answer)
    assert "As it is now. 2 planned" in words(answer)
    assert client.post(f"{PANEL}withdraw/", {"why": "x", "seen": mine["seen"]}).status_code == 409
    assert Cell.objects.get(pk=cell.pk).replicates == 2


def test_the_missing_twin_is_offered_and_planned_in_its_empty_square(cast: Scene, client):
    without_twin(cast)
    client.force_login(cast.lead)
    page = client.get("/series/QS/plate/").content.decode()
    offered = re.search(r'href="([^"]+)"[^>]*>Plan the twin', page)
    assert offered is not None
    address = html.unescape(offered[1])
    assert address.startswith(f"{NEW}?level_0=0&level_1=wet")
    form = client.get(address).content.decode()
    assert '<option value="0" selected>' in form
    assert '<option value="wet–dry salt" selected>' in form
    data = {"level_0": "0", "level_1": "wet–dry salt", "replicates": "3", "code": ""}
    assert client.post(NEW, data).status_code == 302
    assert Cell.objects.get(code="P0-WDS").replicates == 3
    assert last()[1]["why"] == rules.ADDED
    assert client.post(NEW, data).status_code == 409
    assert "Plan the twin" not in client.get("/series/QS/plate/").content.decode()


def test_a_forbidden_square_says_so_and_takes_no_cell(cast: Scene, client):
    without_twin(cast)
    rule = ForbiddenCombination.objects.create(
        series=cast.series, combination="0-wds", why="no room in the chamber"
    )
    rule.levels.set(Level.objects.filter(value__in=("0", "wet–dry salt")))
    client.force_login(cast.lead)
    page = words(client.get("/series/QS/plate/"))
    assert "never together: no room in the chamber." in page
    assert "Plan the twin" not in page
    named = "?level_0=0&level_1=wet–dry salt"
    assert "Never together." in words(client.get(NEW + named))
    data = {"level_0": "0", "level_1": "wet–dry salt", "replicates": "3"}
    answer = client.post(NEW, data)
    assert answer.status_code == 400
    assert "is forbidden: no room in the chamber" in words(answer)
    said = client.post(
        "/api/series/QS/cells/",
        {"levels": {"plies": 0, "exposure": "wet–dry salt"}, "replicates": 3},
        content_type="application/json",
    )
    assert (said.status_code, said.json()["code"]) == (400, "matrix.forbidden")


def test_whoever_only_works_there_looks_and_changes_nothing(cast: Scene, client):
    for person in (cast.manager, cast.technician):
        client.force_login(person)
        page = words(client.get(PANEL))
        assert "A lead of the programme changes the plan." in page
        assert "Change the plan" not in page
        assert "Plan a cell" not in words(client.get("/series/QS/plate/"))
        assert client.post(PANEL, asked(cast.cells["P2-LAB"], replicates="9")).status_code == 404
    assert Cell.objects.get(code="P2-LAB").replicates == 3


def test_the_api_says_and_refuses_the_same(cast: Scene, client):
    cast.specimen("P2-LAB")
    client.force_login(cast.lead)
    at = "/api/series/QS/cells/P2-LAB/"
    told = client.get(at).json()
    assert (told["replicates"], told["created"], told["cast"]) == (3, 1, 1)
    assert list(rules.what_stays(rules.Made(1, 1))) == told["stays"]

    def send(path: str, body: dict) -> tuple[int, dict]:
        answer = client.post(path, body, content_type="application/json")
        return answer.status_code, answer.json()

    status, answer = send(at, {"replicates": 4})
    assert (status, answer["code"]) == (400, "cell.reason")
    status, answer = send(at, {"replicates": 4, "why": "scatter", "seen": told["seen"]})
    assert (status, answer["replicates"], answer["gain_control"]) == (200, 4, "P0-LAB")
    status, answer = send(at, {"replicates": 5, "why": "scatter", "seen": told["seen"]})
    assert (status, answer["code"]) == (409, "cell.changed-meanwhile")
    status, answer = send(at, {"gain_control": "P9", "why": "typing"})
    assert (status, answer["code"]) == (400, "matrix.control-unknown")
    status, answer = send(f"{at}withdraw/", {"why": "no lot"})
    assert (status, answer["code"]) == (409, "cell.withdraw-made")
    status, answer = send("/api/series/QS/cells/", {"levels": {"plies": [0]}, "replicates": 1})
    assert status == 400
    assert send(at, {"gain_control": None, "why": "none"})[1]["gain_control"] is None


def test_factors_that_do_not_span_the_plate_filter_it(cast: Scene, client):
    held = Factor.objects.create(
        series=cast.series, name="sustained", kind="numeric", part="conditioning", position=2
    )
    levels = [
        Level.objects.create(
            factor=held, value=str(n), number=n, code=f"S{n}", is_control=n == 0, position=n
        )
        for n in (0, 60)
    ]
    for cell in cast.cells.values():
        CellLevel.objects.create(cell=cell, factor=held, level=levels[0])
    wanted = {"plies": "2", "exposure": "wet–dry salt", "sustained": "60"}
    cell_add(actor=cast.lead, series=cast.series, levels=wanted, replicates=2, now=NOW)
    client.force_login(cast.lead)
    whole = words(client.get("/series/QS/plate/"))
    assert "P2-WDS-S60 sustained 60" in whole
    assert "P2-LAB sustained 0" in whole
    only = client.get("/series/QS/plate/?only_2=60")
    assert "Only sustained 60 of QS: 0 specimens" in words(only)
    assert "P2-WDS-S60" in words(only)
    assert "P0-LAB" not in words(only).replace("P0-LAB-", "")
    # Empty squares then offer the level that is looked at.
    assert "level_2=60" in only.content.decode()
    assert client.get("/series/QS/plate/?only_2=7").status_code == 400
