"""Papers as the site hands them out: of the record, with what a check can hold."""

import io
import json

import pypdf
import pytest
from django.urls import reverse
from django.utils.functional import lazystr
from django.utils.translation import gettext_lazy, override

from qa.actions import checks
from shop.ledger.canonical import canonical
from tests.qa.making import make_check, read


def text_of(answer) -> str:
    assert answer.status_code == 200
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    return "\n".join(page.extract_text() for page in pages)


def sheet_of(client, check) -> str:
    return text_of(client.get(reverse("check_pdf", args=[check.entry_id])))


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"outcome": "skipped", "reason": "latch in the way"}, "skipped"),
        ({"outcome": "cleared", "reason": "wrong station"}, "cleared"),
        ({"outcome": "feeler", "goes": "1.95", "does_not_go": "2.05"}, "1.95 goes"),
    ],
)
def test_the_sheet_of_a_check_tells_every_outcome(client_of, people, said, words):
    check = make_check(people["engineer"])
    first = read(check, "1", "gap", "2.00")
    read(check, "1", "gap", supersedes=first, **{"reason": "again", **said})
    checks.finish_check(by=people["builder"], check=check)
    client = client_of("inspector")
    assert words in sheet_of(client, check)
    data = client.get(reverse("check_pdf", args=[check.entry_id])).content
    inside = pypdf.PdfReader(io.BytesIO(data)).attachments["check.json"][0]
    lines = json.loads(inside)["lines"]
    assert lines[0]["outcome"] == said["outcome"]


def test_a_digest_does_not_depend_on_the_language_of_who_looks():
    with override("de"):
        german = canonical({"state": gettext_lazy("open"), "of": lazystr("door")})
    assert german == canonical({"state": "open", "of": "door"})


def test_what_has_no_text_of_its_own_is_refused_in_a_record():
    with pytest.raises(TypeError, match="set is not for a record"):
        canonical({"stations": {1, 2}})
