"""People are invited, come in, leave, come back; a leaver's name is erased."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from axes.models import AccessAttempt, AccessLog
from django.contrib.sessions.models import Session
from django.core import mail
from django.test import Client

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import ledger_head, ledger_verify
from labmatrix.kernel.clock import now as clock_now
from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError
from labmatrix.matrix.models import Invitation, Membership
from labmatrix.matrix.services.invitation import (
    LINK_GONE,
    invitation_back,
    invitation_create,
    invitation_take,
    invitation_withdraw,
)
from labmatrix.matrix.services.people import person_erase, person_leave
from labmatrix.matrix.services.programme import membership_set
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Person

pytestmark = pytest.mark.django_db
PASSWORD = "seven spans of steel"


def token_of(issued) -> str:
    return issued.link.rstrip("/").rpartition("/")[2]


def invite(cast, email="ida@floor.example", role=Role.TECHNICIAN, **more):
    more = {"actor": cast.lead, "programme": cast.programme, "now": clock_now(), **more}
    return invitation_create(email=email, role=role, **more)


def take(issued, username="ida", **more):
    return invitation_take(
        token=token_of(issued),
        password=PASSWORD,
        username=username,
        now=more.pop("now", clock_now()),
        **more,
    )


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def test_a_lead_invites_by_page_and_the_invited_comes_in(cast, settings):
    settings.MAIL_GOES_OUT = True
    asked = {"email": "ida@floor.example", "role": "manager", "programme": "QUAYSIDE"}
    answer = signed_in(cast.lead).post("/people/invite/", asked)
    assert "A letter is on its way to ida@floor.example" in answer.content.decode()
    (letter,) = mail.outbox
    link = re.search(r"http://127\.0\.0\.1:\d+(/join/\S+)", letter.body)[1]
    assert link not in answer.content.decode()
    page = Client().get(link)
    assert "no-store" in page.headers["Cache-Control"]
    came = Client().post(
        link,
        {
            "username": "ida",
            "display_name": "Ida Invented",
            "display_role": "doctoral student",
            "password": PASSWORD,
            "again": PASSWORD,
        },
    )
    assert came.headers["Location"] == "/sign-in/"
    ida = Person.objects.get(username="ida")
    assert (ida.role, ida.display_role, ida.email) == (
        Role.MANAGER,
        "doctoral student",
        "ida@floor.example",
    )
    assert Membership.objects.get(person=ida).role == "manager"
    client = Client()
    client.post("/sign-in/", {"username": "ida", "password": PASSWORD})
    assert client.get("/programmes/QUAYSIDE/").status_code == 200
    assert Client().get(link).status_code == 404


def test_without_a_mail_server_the_page_shows_the_link_to_hand_over(cast):
    answer = signed_in(cast.lead).post(
        "/people/invite/", {"email": "ida@floor.example", "role": "lead"}
    )
    page = answer.content.decode()
    link = re.search(r'value="http://127\.0\.0\.1:\d+(/join/[^"]+)"', page)[1]
    assert "sends no letters" in page
    assert Client().get(link).status_code == 200
    assert link not in signed_in(cast.lead).get("/people/").content.decode()


def test_a_letter_that_no_server_takes_leaves_the_link(cast, settings, monkeypatch):
    settings.MAIL_GOES_OUT = True

    def refuse(self, **options):
        raise ConnectionRefusedError

    monkeypatch.setattr("django.core.mail.EmailMessage.send", refuse)
    answer = signed_in(cast.lead).post(
        "/people/invite/", {"email": "ida@floor.example", "role": "lead"}
    )
    assert "did not take the letter" in answer.content.decode()
    assert "/join/" in answer.content.decode()


def test_only_a_digest_of_the_link_is_kept_and_the_ledger_holds_no_address(cast):
    issued = invite(cast)
    stored = Invitation.objects.get()
    assert token_of(issued) not in json.dumps(stored.digest)
    assert re.fullmatch("[0-9a-f]{64}", stored.digest)
    take(issued)
    assert Invitation.objects.get().email == ""
    told = " ".join(LedgerEntry.objects.values_list("content", flat=True))
    assert "ida" not in told
    assert token_of(issued) not in told
    assert [
        json.loads(e.content)["body"]["what"] for e in LedgerEntry.objects.filter(kind="person")
    ] == [
        "invited",
        "joined",
    ]
    assert list(ledger_verify()) == []


@pytest.mark.parametrize("spoil", ["used", "run out", "withdrawn", "newer", "mistyped"])
def test_a_link_lets_in_once_and_in_time(cast, spoil):
    issued = invite(cast)
    when = clock_now()
    if spoil == "used":
        take(issued)
    elif spoil == "run out":
        when += timedelta(days=7, seconds=1)
    elif spoil == "withdrawn":
        invitation_withdraw(actor=cast.lead, invitation_id=issued.invitation.pk, now=when)
    elif spoil == "newer":
        invite(cast, "IDA@floor.example")
    before = Person.objects.count()
    token = token_of(issued) + ("x" if spoil == "mistyped" else "")
    with pytest.raises(NotFound, match=re.escape(LINK_GONE)):
        invitation_take(token=token, password=PASSWORD, username="eve", now=when)
    assert Person.objects.count() == before


@pytest.mark.parametrize("who", ["manager", "technician", "sponsor", "gone"])
def test_only_a_lead_invites(cast, who):
    with pytest.raises(NotFound):
        invite(cast, actor=cast.of(who))
    with pytest.raises(NotFound):
        person_leave(actor=cast.of(who), person=cast.technician, now=clock_now())
    with pytest.raises(NotFound):
        person_erase(actor=cast.of(who), person=cast.gone, now=clock_now())


def test_to_a_programme_only_its_own_lead_invites(cast):
    with pytest.raises(NotFound):
        invite(cast, actor=cast.stranger)


def test_the_rules_of_an_invitation(cast):
    for wrong in ("ida", "ida@", "ida@floor.example\nBcc: all@floor.example"):
        with pytest.raises(ShapeError, match="e-mail address"):
            invite(cast, wrong)
    cast.manager.email = "m@floor.example"
    cast.manager.save()
    with pytest.raises(RuleBroken, match="can sign in already"):
        invite(cast, "M@floor.example")


def test_the_invited_cannot_take_a_name_that_looks_the_same(cast):
    issued = invite(cast)
    for name in ("Lead", "ＬＥＡＤ", "lead "):
        with pytest.raises(RuleBroken, match="taken"):
            take(issued, username=name)
    for name in ("", "a b", "-ida", "ida\u202e", "<b>", "=cmd"):
        with pytest.raises(ShapeError, match="sign-in name"):
            take(issued, username=name)
    with pytest.raises(ShapeError, match="U\\+202E"):
        take(issued, display_name="Ida \u202enadir")
    assert Invitation.objects.get().taken_at is None
    assert take(issued).username == "ida"


def test_an_invitation_ends_with_the_right_of_whoever_made_it(cast):
    second = take(invite(cast, "second@floor.example", Role.LEAD), "second")
    issued = invite(cast, actor=second)
    membership_set(
        actor=cast.lead,
        programme=cast.programme,
        person=second,
        role=Role.TECHNICIAN,
        now=clock_now(),
    )
    with pytest.raises(RuleBroken, match="may no longer let people into QUAYSIDE"):
        take(issued)
    person_leave(actor=cast.lead, person=second, now=clock_now())
    with pytest.raises(NotFound):
        take(issued)


def test_a_leaver_is_out_at_once_everywhere(cast):
    technician = cast.technician
    technician.set_password(PASSWORD)
    technician.save()
    client = Client()
    client.post("/sign-in/", {"username": "technician", "password": PASSWORD})
    body = {"username": "technician", "password": PASSWORD}
    token = client.post("/api/token/", body, content_type="application/json").json()["token"]
    other = signed_in(cast.manager)
    answer = signed_in(cast.lead).post(f"/people/{technician.pk}/leave/")
    assert answer.status_code == 302
    assert client.get("/").status_code == 302
    header = {"HTTP_AUTHORIZATION": f"Token {token}"}
    assert Client().get("/api/programmes/", **header).status_code == 401
    assert not any(
        s.get_decoded().get("_auth_user_id") == str(technician.pk) for s in Session.objects.all()
    )
    assert other.get("/").status_code == 200
    technician.refresh_from_db()
    assert not technician.has_usable_password()
    assert technician.left_at is not None


def test_the_last_lead_stays_until_there_is_another(cast):
    with pytest.raises(RuleBroken, match="only lead of QUAYSIDE"):
        person_leave(actor=cast.stranger, person=cast.lead, now=clock_now())
    page = signed_in(cast.stranger).post(f"/people/{cast.lead.pk}/leave/").content.decode()
    assert "name another lead first" in page
    Membership.objects.filter(role="lead").delete()
    person_leave(actor=cast.lead, person=cast.stranger, now=clock_now())
    with pytest.raises(RuleBroken, match="only lead of the laboratory"):
        person_leave(actor=cast.lead, person=cast.lead, now=clock_now())


def test_a_leaver_comes_back_by_a_link_under_the_same_name(cast):
    person_leave(actor=cast.lead, person=cast.technician, now=clock_now())
    issued = invitation_back(
        actor=cast.lead, person=cast.technician, email="t@floor.example", now=clock_now()
    )
    path = f"/join/{token_of(issued)}/"
    assert "stays" in Client().get(path).content.decode()
    assert Client().post(path, {"password": PASSWORD, "again": PASSWORD}).status_code == 302
    client = Client()
    client.post("/sign-in/", {"username": "technician", "password": PASSWORD})
    assert client.get("/programmes/QUAYSIDE/").status_code == 200
    with pytest.raises(RuleBroken, match="only someone who has left"):
        invitation_back(
            actor=cast.lead, person=cast.technician, email="t@floor.example", now=clock_now()
        )


def test_an_erased_name_is_a_stable_pseudonym_and_the_ledger_is_as_it_was(cast):
    ida = take(invite(cast), "ida", display_name="Ida Invented", display_role="student")
    Client().post("/sign-in/", {"username": "ida", "password": "wrong"})
    Client().post("/sign-in/", {"username": "ida", "password": PASSWORD})
    assert AccessLog.objects.filter(username="ida").exists()
    with pytest.raises(RuleBroken, match="end the access first"):
        person_erase(actor=cast.lead, person=ida, now=clock_now())
    person_leave(actor=cast.lead, person=ida, now=clock_now())
    before = list(LedgerEntry.objects.order_by("seq").values_list("entry_hash", flat=True))
    lead = signed_in(cast.lead)
    words = lead.get(f"/people/{ida.pk}/erase/").content.decode()
    assert "What remains" in words
    assert lead.post(f"/people/{ida.pk}/erase/").status_code == 302
    after = list(LedgerEntry.objects.order_by("seq").values_list("entry_hash", flat=True))
    assert after[: len(before)] == before
    assert len(after) == len(before) + 1
    assert list(ledger_verify()) == []
    assert ledger_head()["entries"] == len(after)
    ida.refresh_from_db()
    assert (ida.shown_name, ida.username, ida.email, ida.display_role) == (
        "former technician 1",
        "former-technician-1",
        "",
        "",
    )
    for path in (
        "/people/",
        f"/people/{ida.pk}/",
        "/programmes/QUAYSIDE/",
        "/api/programmes/QUAYSIDE/",
    ):
        page = lead.get(path).content.decode()
        assert "Ida" not in page
        assert "former technician 1" in page
    for model in (AccessLog, AccessAttempt):
        assert not model.objects.filter(username="ida").exists()
    assert person_erase(actor=cast.lead, person=ida, now=clock_now()) == "former technician 1"


def test_each_role_counts_its_own_pseudonyms_and_keeps_them(cast):
    people = [take(invite(cast, f"p{n}@floor.example"), f"p{n}") for n in range(3)]
    for person in people:
        person_leave(actor=cast.lead, person=person, now=clock_now())
    erased = [person_erase(actor=cast.lead, person=p, now=clock_now()) for p in reversed(people)]
    assert erased == [f"former technician {n}" for n in (1, 2, 3)]
    person_leave(actor=cast.lead, person=cast.manager, now=clock_now())
    assert person_erase(actor=cast.lead, person=cast.manager, now=clock_now()) == "former manager 1"
    with pytest.raises(RuleBroken, match="invited as a new person"):
        invitation_back(
            actor=cast.lead, person=people[0], email="p0@floor.example", now=clock_now()
        )


def test_hostile_titles_and_names_make_no_second_header_and_no_second_line(cast):
    cast.lead.display_name = "Lead\r\nBcc: all@floor.example"
    cast.lead.save()
    cast.programme.title = "=cmd|' /C calc'!A0\u202e<script>alert(1)</script>"
    cast.programme.save()
    issued = invite(cast)
    assert issued.letter.subject == (
        "Lead Bcc: all@floor.example invites you to Unnamed laboratory"
    )
    assert "\u202e" not in issued.letter.text
    page = Client().get(f"/join/{token_of(issued)}/").content.decode()
    assert "<script>alert" not in page
