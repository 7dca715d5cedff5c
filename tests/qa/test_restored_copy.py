"""A server restored from an older copy, and tablets that knew the newer one."""

import uuid

import pytest
from django.core.management.color import no_style
from django.db import connection, transaction

from qa.models import FitUp, Instrument, Joint
from qa.queries.tablet.offline_copy import carry
from shop.models import Airframe, Incarnation, Part
from tests.qa.making import make_check, make_instrument, make_part
from tests.qa.test_acts import put
from tests.qa.test_tablet_photos import a_pattern, picture

pytestmark = pytest.mark.django_db


@pytest.fixture
def check(people):
    return make_check(people["engineer"])


@pytest.fixture
def builder(client_of):
    return client_of("builder")


class Restored:
    """What the tablet carried before, of a part that the older copy does not have; and
    another part that has its key now."""

    def __init__(self, people, check):
        older = transaction.savepoint()
        lost = make_part(people["engineer"])
        self.carried = carry()
        transaction.savepoint_rollback(older)
        with connection.cursor() as cursor:
            # As a restore does: PostgreSQL's counters are rows of no transaction.
            for sql in connection.ops.sequence_reset_sql(no_style(), [Part]):
                cursor.execute(sql)
        Incarnation.objects.create(reason="restored")
        self.other = make_part(people["engineer"])
        assert self.other.pk == lost.pk
        self.check, self.lost = check, lost

    def content(self, name, part):
        """A fit-up that names its rows by `name` ("id" or "uuid") as carried."""
        fit_up = self.check.fit_up

        def of(kind, pk):
            return next(one[name] for one in self.carried[kind] if one["id"] == pk)

        return {
            "airframe": of("airframes", fit_up.airframe_id),
            "joint": of("joints", fit_up.joint_id),
            "revision": str(fit_up.revision.uuid),
            "part": of("parts", part.pk),
            "reason": "refit",
            "held": [],
        }


@pytest.fixture
def restored(people, check):
    return Restored(people, check)


def body_of(restored, name, form, part=None, **more):
    content = restored.content(name, part or restored.lost)
    return {"form": form, "by": "builder", "said": content, **more}


def send(client, body):
    return client.put(
        f"/api/acts/{uuid.uuid4()}", body, content_type="application/json"
    )


@pytest.mark.parametrize("says_which", [True, False])
def test_an_act_that_names_rows_by_key_is_parked_and_nothing_is_recorded(
    builder, restored, says_which
):
    known = {"database": restored.carried["database"]} if says_which else {}
    answer = send(builder, body_of(restored, "id", "fitup/1", **known))
    told = answer.json()["error"]
    assert (answer.status_code, told["code"]) == (409, "other_copy")
    assert "restored" in told["message"]
    assert FitUp.objects.count() == 1


def test_named_by_uuid_it_is_the_right_part_or_unknown(builder, restored):
    unknown = send(builder, body_of(restored, "uuid", "fitup/2"))
    assert (unknown.status_code, unknown.json()["error"]["field"]) == (422, "part")
    assert FitUp.objects.count() == 1
    right = restored.check.fit_up.part
    known = {"database": restored.carried["database"]}
    answer = send(builder, body_of(restored, "uuid", "fitup/2", right, **known))
    assert answer.status_code == 201, answer.content
    assert FitUp.objects.get(entry_id=answer.json()["act"]).part == right


def test_under_the_database_it_was_made_with_an_old_form_stays_good(builder, restored):
    known = {"database": str(Incarnation.objects.latest("started_at").pk)}
    body = body_of(restored, "id", "fitup/1", restored.check.fit_up.part, **known)
    assert send(builder, body).status_code == 201


def test_what_was_recorded_before_the_restore_is_known_again_by_its_id(
    builder, people, check
):
    act, said = uuid.uuid4(), {"fitup": str(check.fit_up.entry_id), "finish": "bare"}
    assert put(builder, said, form="check/1", act=act).status_code == 201
    Incarnation.objects.create(reason="restored")
    assert put(builder, said, form="check/1", act=act).status_code == 200
    other = put(builder, said, form="check/1")
    assert other.json()["error"]["code"] == "other_copy"


def test_a_check_names_its_gauge_by_uuid(builder, people, check):
    gauge = make_instrument(people["engineer"])
    said = {"fitup": str(check.fit_up.entry_id), "finish": "finished"}
    answer = put(builder, {**said, "instrument": str(gauge.uuid)}, form="check/2")
    assert answer.status_code == 201
    by_key = put(builder, {**said, "instrument": gauge.pk}, form="check/2")
    assert by_key.json()["error"]["field"] == "instrument"


def test_everything_an_act_names_has_a_name_of_its_own():
    for model in (Airframe, Part, Joint, Instrument):
        field = model._meta.get_field("uuid")
        assert field.unique and not field.null


def test_a_photo_of_a_row_named_by_key_waits_for_a_person_too(builder, people, check):
    pattern = a_pattern(people["engineer"], check.fit_up.joint)
    known = str(Incarnation.objects.get().pk)
    Incarnation.objects.create(reason="restored")
    asked = f"by=builder&check={check.entry_id}&pattern={pattern.pk}&hole=1"
    for say, status in ((f"&database={known}", 409), ("", 409)):
        address = f"/api/photos/{uuid.uuid4()}?{asked}{say}"
        answer = builder.put(address, picture(), content_type="image/jpeg")
        assert answer.status_code == status
        assert answer.json()["error"]["code"] == "other_copy"
    odd = builder.put("/api/photos/" + str(uuid.uuid4()) + "?by=%00", picture())
    assert odd.status_code == 400


def test_a_rescue_file_says_which_copy_its_acts_knew(client_of, restored):
    acts = [
        {"id": str(uuid.uuid4()), "body": body_of(restored, name, form, part)}
        for name, form, part in (
            ("id", "fitup/1", restored.lost),
            ("uuid", "fitup/2", restored.check.fit_up.part),
        )
    ]
    file = {
        "format": "fayline-tablet/1",
        "database": restored.carried["database"],
        "outbox": acts,
    }
    told = client_of("lead").post("/api/recover", file, content_type="application/json")
    assert told.json()["stored"] == 1
    assert [one["id"] for one in told.json()["refused"]] == [acts[0]["id"]]
