"""What the access table's names stand for, set up in the test's database."""

from __future__ import annotations

import io
from typing import Any

from django.db import transaction
from django.test import Client

from labmatrix.evidence.services.blob import blob_put
from specimens.models import Deviation
from specimens.services.lot import lot_add
from specimens.services.typed_test import typed_test_add
from tests.specimens.access_table import Access
from tests.specimens.scene import CAST_AT, NOW, Scene, new_id, raw_event

PNG = b"\x89PNG\r\n\x1a\n" + bytes(32)


def access_names(cast: Scene) -> dict[str, str]:
    """A specimen with an event, a deviation and a photo, and what names them."""
    specimen = cast.specimen("P0")
    begun = raw_event(specimen.code, "cast", 0, {"batch": "C-01"})
    mode = {"scheme": "member", "letter": "", "words": "crushed"}
    late = raw_event(specimen.code, "broken", 250, {"end": "broken", "mode": mode})
    blob = blob_put(stream=io.BytesIO(PNG), now=NOW)
    photo = raw_event(specimen.code, "photo", 251, {"blob": blob.sha256})
    cast.send(begun, late, photo)
    lot = lot_add(actor=cast.lead, programme=cast.series.programme, code="C-01", kind="concrete",
                  title="C30/37", made_on=CAST_AT.date(), now=NOW)  # fmt: skip
    values = {"diameter_mm": 150.0, "length_mm": 300.0, "load_kn": 530.0}
    typed = typed_test_add(actor=cast.lead, lot=lot, test="cylinder", mark="C1",
                           tested_on=CAST_AT.date(), values=values, now=NOW)  # fmt: skip
    return {
        "lot": lot.code,
        "typed": str(typed.pk),
        "specimen": specimen.code,
        "event": begun["id"],
        "deviation": str(Deviation.objects.get(specimen=specimen).pk),
        "photo": blob.sha256,
        "series": "QS",
        "programme": "QUAYSIDE",
        "cell": "P2",
        "machine": "OLD-RIG",
    }


def filled(value: Any, names: dict[str, str]) -> Any:
    """A path or a body with its names replaced."""
    if isinstance(value, str):
        for name, found in {**names, "fresh": new_id()}.items():
            value = value.replace("{" + name + "}", found)
        return value
    if isinstance(value, dict):
        return {key: filled(item, names) for key, item in value.items()}
    if isinstance(value, list):
        return [filled(item, names) for item in value]
    return value


def asked(access: Access, who: str, people: dict[str, Any], names: dict[str, str]) -> Any:
    """The answer to a request as one of the people; whatever it wrote is taken back."""
    client = Client()
    if who != "nobody":
        client.force_login(people[who])
    path, body = filled(access.path, names), filled(access.body, names)
    with transaction.atomic():
        if access.method == "GET":
            answer: Any = client.get(path)
        elif access.is_form:
            answer = client.post(path, body)
        else:
            answer = client.post(path, body, content_type="application/json")
        transaction.set_rollback(True)
    return answer
