"""An imported number is put right with a reason; what was reported stays, and nobody overwrites."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, transaction
from django.test import Client

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import ledger_verify
from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError
from results.models import HistoryImport, TypedCorrection, TypedResult
from results.selectors.comparison import comparison_get
from results.selectors.imported import standing
from results.services.imported import Given, imported_correct
from tests.results.history_books import changed, sent_book, workbook
from tests.results.scene import NOW, Scene

pytestmark = pytest.mark.django_db
WHY = "misread in the notebook of 2017"


@pytest.fixture
def peak(cast: Scene) -> TypedResult:
    """The peak load of OLD-1: 87,31 kN as reported, u 0,6 kN."""
    sent_book(cast, take=True)
    return TypedResult.objects.select_related("subject", "source__programme").get(
        subject__code="OLD-1", name="peak_load"
    )


def correct(cast: Scene, peak: TypedResult, given: Given | None, seen: int = 0, why: str = WHY):
    return imported_correct(actor=cast.lead, number=peak, given=given, why=why, seen=seen, now=NOW)


def means(cast: Scene) -> dict[str, float | None]:
    table = comparison_get(series=cast.series, metric="peak_load")
    return {row.cell.code: row.group.mean for row in table.rows if row.group.n}


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def test_a_correction_counts_and_what_was_reported_stays(cast: Scene, peak: TypedResult):
    made = correct(cast, peak, Given("78,31", "kN", "0.4"))
    assert (made.place, made.value, made.u, made.said) == (1, 78.31, 0.4, "78,31 kN")
    assert means(cast)["P2-LAB"] == 78.31
    peak.refresh_from_db()
    assert (peak.value, peak.said) == (87.31, "87,31 kN")
    entry = LedgerEntry.objects.get(kind="typed-correction")
    assert WHY in entry.content
    assert list(ledger_verify()) == []
    page = signed_in(cast.technician).get("/specimens/OLD-1/imported/").content.decode()
    assert "<del>87,31 kN</del> is 78,31 kN" in page
    assert WHY in page
    assert "yes, as corrected" in page


def test_a_correction_may_be_given_in_another_unit_of_the_same_kind(cast: Scene, peak: TypedResult):
    made = correct(cast, peak, Given("19.6", "kip", 0.1))
    assert made.value == pytest.approx(19.6 * 4.4482216, rel=1e-6)
    assert made.u == pytest.approx(0.44482216, rel=1e-6)


def test_a_struck_number_counts_in_nothing_and_can_count_again(cast: Scene, peak: TypedResult):
    correct(cast, peak, None)
    assert "P2-LAB" not in means(cast)
    assert standing(peak).is_struck
    with pytest.raises(RuleBroken, match="struck already"):
        correct(cast, peak, None, seen=1)
    correct(cast, peak, Given(87.31, "kN", 0.6), seen=1)
    assert means(cast)["P2-LAB"] == 87.31
    assert TypedCorrection.objects.count() == 2


def test_who_looked_before_somebody_else_corrected_is_refused(cast: Scene, peak: TypedResult):
    correct(cast, peak, Given(78.31, "kN"))
    with pytest.raises(RuleBroken, match=r"corrected meanwhile: it is now 78.31 kN") as refused:
        correct(cast, peak, Given(77.0, "kN"), seen=0)
    assert refused.value.code == "imported.changed"
    assert TypedCorrection.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "code"),
    [
        (Given("about 80", "kN"), "history.number"),
        (Given("1,234.5", "kN"), "history.number-grouped"),
        (Given("", "kN"), "history.number"),
        (Given("80", "stone"), "unit.unknown"),
        (Given("80", "mm"), "unit.mismatch"),
        (Given("80", "kN", "-1"), "history.uncertainty"),
        (Given("80", "kN", "some"), "history.number"),
    ],
)
def test_what_is_no_number_of_its_kind_is_refused(cast: Scene, peak: TypedResult, given, code):
    with pytest.raises(ShapeError) as refused:
        correct(cast, peak, given)
    assert refused.value.code == code
    assert not TypedCorrection.objects.exists()


def test_a_reason_is_needed_and_a_change(cast: Scene, peak: TypedResult):
    with pytest.raises(ShapeError, match="reason"):
        correct(cast, peak, Given(80, "kN"), why="  ")
    with pytest.raises(RuleBroken, match="is 87,31 kN already"):
        correct(cast, peak, Given("87.31", "kN", 0.6))


@pytest.mark.parametrize("who", ["manager", "technician", "sponsor", "stranger"])
def test_only_a_lead_of_the_programme_corrects(cast: Scene, peak: TypedResult, who):
    with pytest.raises(NotFound):
        imported_correct(
            actor=getattr(cast, who), number=peak, given=None, why=WHY, seen=0, now=NOW
        )


def test_the_database_refuses_to_change_a_correction(cast: Scene, peak: TypedResult):
    made = correct(cast, peak, Given(80, "kN"))
    for change in (lambda: TypedCorrection.objects.update(value=90.0), made.delete):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_the_same_workbook_again_leaves_a_correction_alone(cast: Scene, peak: TypedResult):
    correct(cast, peak, Given(78.31, "kN"))
    again = sent_book(cast, take=True)
    assert again.status == HistoryImport.Status.TAKEN
    assert again.summary["unchanged"]["results"] == 4
    assert means(cast)["P2-LAB"] == 78.31
    right = changed("Results", 2, ("OLD-1", "peak load", "78,31", "kN"))
    assert sent_book(cast, workbook(right)).status == HistoryImport.Status.CHECKED
    other = sent_book(cast, workbook(changed("Results", 2, ("OLD-1", "peak load", "90", "kN"))))
    assert "87,31 kN, and corrected to 78.31 kN" in other.error["message"]


def test_by_page_with_a_second_person_too_late(cast: Scene, peak: TypedResult):
    lead = signed_in(cast.lead)
    address = f"/specimens/OLD-1/imported/{peak.pk}/correct/"
    assert address in lead.get("/specimens/OLD-1/imported/").content.decode()
    assert address not in signed_in(cast.manager).get("/specimens/OLD-1/imported/").content.decode()
    assert "It stands as 87,31 kN." in lead.get(address).content.decode()
    sent = {"what": "correct", "value": "78,31", "unit": "kN", "u": "", "why": WHY, "seen": 0}
    assert lead.post(address, sent).status_code == 302
    late = lead.post(address, {**sent, "value": "70"})
    assert late.status_code == 409
    assert "was corrected meanwhile: it is now 78,31 kN" in late.content.decode()
    bad = lead.post(address, {**sent, "value": "<b>", "seen": 1})
    assert bad.status_code == 400
    assert "&lt;b&gt;" in bad.content.decode()
    assert (
        lead.post(address, {"what": "strike", "unit": "kN", "why": WHY, "seen": 1}).status_code
        == 302
    )
    assert "counts no more" in lead.get("/specimens/OLD-1/imported/").content.decode()
    assert lead.get(f"/specimens/OLD-2/imported/{peak.pk}/correct/").status_code == 404


def test_by_api(cast: Scene, peak: TypedResult):
    lead = signed_in(cast.lead)
    [row] = [
        one
        for one in lead.get("/api/specimens/OLD-1/imported/").json()["results"]
        if one["id"] == peak.pk
    ]
    assert (row["seen"], row["counts"], row["u"]) == (0, True, 0.6)
    address = f"/api/specimens/OLD-1/imported/{peak.pk}/corrections/"

    def sent(**body):
        return lead.post(address, {"why": WHY, "seen": 0, **body}, content_type="application/json")

    answer = sent(value=78.31, unit="kN")
    assert answer.status_code == 201
    assert answer.json()["value"] == 78.31
    assert answer.json()["taken_in"] == {"value": 87.31, "u": 0.6, "said": "87,31 kN"}
    assert sent(value=70, unit="kN").json()["code"] == "imported.changed"
    for body in (
        {"value": True, "unit": "kN"},
        {"value": [1], "unit": "kN"},
        {"value": 70, "unit": 3},
        {"strike": "yes"},
        {"strike": True, "seen": "0"},
        {"strike": True, "why": 3},
    ):
        assert sent(**body).status_code == 400
    assert sent(strike=True, seen=1).json()["counts"] is False
