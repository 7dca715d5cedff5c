"""Whoever owns the server can write its whole history anew so that it verifies: a
tablet holds what it was told before against that."""

import json

from django.db import connection
from playwright.sync_api import expect

from qa.models import Reading
from shop.ledger import guards, sealer
from shop.ledger.canonical import canonical, digest, entry_digest
from shop.ledger.verify import verify
from shop.models import Entry, Seal
from tests.browser.at_the_tablet import OPEN, all_sent, at, open_check, tap
from tests.test_ledger_binds import drop_what_guards


def rewrite_a_reading(reading: Reading, value_nm: int) -> None:
    """Change what was read, its entry, and every seal after it: nothing shows it."""
    drop_what_guards()
    entry = reading.entry
    body = json.loads(entry.body)
    (fact,) = body["facts"]
    fact["columns"]["value_nm"] = value_nm
    entry.body = canonical(body)
    Reading.objects.filter(pk=reading.pk).update(value_nm=value_nm)
    Entry.objects.filter(pk=entry.pk).update(
        body=entry.body, digest=entry_digest(entry)
    )
    chain = sealer.START
    for seal in Seal.objects.order_by("position").select_related("entry"):
        chain = digest(chain, seal.entry.digest)
        Seal.objects.filter(pk=seal.pk).update(digest=chain)
    if connection.vendor == "sqlite":
        guards.install()
    else:
        with connection.cursor() as cursor:
            cursor.execute("SET session_replication_role = origin")


def test_a_tablet_refuses_a_server_whose_history_was_written_anew(
    desk, live_site, check
):
    tap(desk, "2.35")
    at(desk, "1", "flush")
    all_sent(desk)
    noted = sealer.head()
    # Asked again, the server tells the tablet of that head.
    open_check(desk, live_site, check)
    at(desk, "1", "flush")
    desk.evaluate(KNOWS, noted[0])
    live_site.kill()
    rewrite_a_reading(Reading.objects.get(), 2_450_000)
    # The owner's own look finds nothing; what somebody noted on paper does.
    assert verify().fault == ""
    assert "the chain was written anew" in verify(expect=noted).fault
    connection.close()
    live_site.start()
    tap(desk, "0.10")
    dialog = desk.get_by_role("dialog", name="The records were rewritten, or cut off")
    expect(dialog).to_contain_text(f"{noted[0]} {noted[1]}")
    # All of it is read: a digest has no blank to break at.
    assert dialog.evaluate("node => node.scrollWidth <= node.clientWidth")
    dialog.get_by_role("button").click()
    # Its answer counts for nothing: the reading stays on the tablet.
    expect(desk.locator("#unsent")).to_contain_text("1 not sent")
    expect(desk.locator("#unsent")).to_contain_text("RECORDS REWRITTEN")
    # Opened again it still knows, and says so at once.
    desk.reload()
    expect(dialog).to_be_visible()


# wait_for_function takes the promise of an async function for a yes.
KNOWS = f"""async (wanted) => {{ {OPEN}
  const head = () => {{
    const settings = database.transaction("settings").objectStore("settings");
    return answer(settings.get("head"));
  }};
  while (!(+(await head())?.[0] >= wanted)) await new Promise(requestAnimationFrame);
  database.close();
}}"""
