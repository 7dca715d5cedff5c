"""The chain both ways: from what a thing came, and what it reached.

One statement walks the whole chain, whatever its length: kinds are visited in the
order below, and from each kind the links lead to later ones (down) or earlier ones
(up). Parts made of parts, and molds from molds, are followed recursively.

Time counts: a coat or a step reaches only the pulls and the molds that came after it.
One that was taken back reaches nothing.
"""

# ruff: noqa: S608 -- statements are put together from names in this module only.

from dataclasses import dataclass
from functools import cache

from django.db import connection

# From the first cause to the last effect. "touched" is a tool that was worked on: it
# is shown, but what came from it earlier is not affected.
ORDER = (
    "person",
    "machine",
    "lot",
    "milling",
    "step",
    "coat",
    "touched",
    "tool",
    "laminate",
    "cure",
    "pull",
    "part",
    "placement",
    "airframe",
)


@dataclass(frozen=True)
class Link:
    """Rows (up, down) that lead from one kind to another."""

    up: str
    down: str
    rows: str


def _link(up: str, down: str, table: str, cause: str, effect: str = "id") -> Link:
    """A row of `table` names the cause and its effect, or is itself the effect."""
    return Link(
        up,
        down,
        f"SELECT {cause} AS up, {effect} AS down FROM {table} f "
        f"WHERE {cause} IS NOT NULL",
    )


def _doer(down: str, table: str, effect: str = "id", act: str = "entry_act") -> Link:
    """Who did what the row records, by the entry of its act."""
    return Link(
        "person",
        down,
        f"SELECT e.by_id AS up, f.{effect} AS down FROM {table} f "
        f"JOIN shop_entry e ON e.act = f.{act} WHERE e.by_id IS NOT NULL",
    )


def _on_plug(up: str, table: str, before: str) -> Link:
    """What was done to a plug reaches the molds that were made from it later."""
    return Link(
        up,
        "tool",
        f"SELECT f.id AS up, m.id AS down FROM {table} f "
        f"JOIN shop_tool m ON m.plug_id = f.tool_id WHERE {before}",
    )


def _on_mold(up: str, table: str, before: str) -> Link:
    """What was done to a mold reaches the pulls that were started in it later."""
    return Link(
        up,
        "pull",
        f"SELECT f.id AS up, p.id AS down FROM {table} f "
        f"JOIN shop_pull p ON p.tool_id = f.tool_id WHERE {before}",
    )


def _standing(kind: str, table: str) -> str:
    return (
        f"(SELECT t.* FROM {table} t WHERE NOT EXISTS "
        f"(SELECT 1 FROM shop_withdrawal w WHERE w.{kind}_id = t.id))"
    )


STEPS = _standing("step", "shop_stepdone")
COATS = _standing("coat", "shop_releasecoat")

LINKS = (
    _doer("milling", "shop_millingsetup"),
    _doer("step", STEPS),
    _doer("coat", COATS),
    _doer("cure", "shop_curetrace"),
    _doer("pull", "shop_pull", act="started_entry_id"),
    _doer("pull", "shop_plylaid", "pull_id"),
    _doer("pull", "shop_resinbatch", "pull_id"),
    _doer("pull", "shop_bagtest", "pull_id"),
    _doer("pull", "shop_work", "pull_id"),
    _doer("pull", "shop_demold", "pull_id"),
    _link("person", "pull", "shop_plylaid", "witness_id", "pull_id"),
    Link(
        "person",
        "part",
        # Who gave a pulled part its serial did not make it; who bonded or cut it did.
        "SELECT e.by_id AS up, f.part_id AS down FROM shop_lineage f "
        "JOIN shop_entry e ON e.act = f.entry_act "
        "WHERE e.by_id IS NOT NULL AND f.kind IN ('bonded', 'cut', 'made')",
    ),
    _link("machine", "milling", "shop_millingsetup", "machine_id"),
    _link("lot", "step", STEPS, "lot_id"),
    _link("lot", "coat", COATS, "lot_id"),
    _link("lot", "pull", "shop_plylaid", "lot_id", "pull_id"),
    _link("lot", "pull", "shop_resinbatch", "resin_lot_id", "pull_id"),
    _link("lot", "pull", "shop_resinbatch", "hardener_lot_id", "pull_id"),
    _link("milling", "touched", "shop_millingsetup", "id", "tool_id"),
    _link("step", "touched", STEPS, "id", "tool_id"),
    _link("coat", "touched", COATS, "id", "tool_id"),
    _on_plug("milling", "shop_millingsetup", "f.milled_on <= DATE(m.made_at)"),
    _on_plug("step", STEPS, "f.done_at <= m.made_at"),
    _on_plug("coat", COATS, "f.applied_at <= m.made_at"),
    _on_mold("milling", "shop_millingsetup", "f.milled_on <= DATE(p.started_at)"),
    _on_mold("step", STEPS, "f.done_at <= p.started_at"),
    _on_mold(
        "coat",
        COATS,
        "p.surface = f.surface AND f.applied_at <= p.started_at",
    ),
    _link("tool", "tool", "shop_tool", "plug_id"),
    _link("tool", "pull", "shop_pull", "tool_id"),
    _link("laminate", "pull", "shop_pull", "laminate_id"),
    _link("cure", "pull", "shop_curetrace", "id", "pull_id"),
    _link("pull", "part", "shop_lineage", "pull_id", "part_id"),
    _link("part", "part", "shop_lineage", "source_id", "part_id"),
    _link("part", "placement", "shop_placement", "part_id"),
    _link("placement", "airframe", "shop_placement", "id", "airframe_id"),
)


@cache
def _walk(start: str, down: bool) -> str:
    """One statement: a common table expression per kind, each fed by earlier ones.

    Links from kinds that nothing leads to from here are left out, and each begins at
    the rows found so far: else a database that knows how few these are may yet go
    through all entries, to find none.
    """
    order = ORDER if down else ORDER[::-1]
    source, target = ("up", "down") if down else ("down", "up")
    tables, led_to = [], []
    for kind in order:
        feeds = [
            f"SELECT x.{target} FROM at_{getattr(link, source)} a "
            f"CROSS JOIN ({link.rows}) x WHERE x.{source} = a.id"
            for link in LINKS
            if getattr(link, target) == kind and getattr(link, source) in led_to
        ]
        seeded = kind == start or (start == "tool" and kind == "touched")
        if not feeds and not seeded:
            continue
        led_to.append(kind)
        seed = "SELECT CAST(%s AS bigint) AS id" + ("" if seeded else " WHERE 1 = 0")
        loops = [
            f"SELECT x.{target} FROM at_{kind} a CROSS JOIN ({link.rows}) x "
            f"WHERE x.{source} = a.id"
            for link in LINKS
            if link.up == link.down == kind
        ]
        first = " UNION ".join([seed, *feeds])
        if loops:
            tables.append(f"from_{kind}(id) AS ({first})")
            first = " UNION ".join([f"SELECT id FROM from_{kind}", *loops])
        tables.append(f"at_{kind}(id) AS ({first})")
    ends = " UNION ALL ".join(
        f"SELECT '{kind}' AS kind, id FROM at_{kind}" for kind in led_to
    )
    return f"WITH RECURSIVE {', '.join(tables)} {ends}"


def reach(kind: str, key: int, *, down: bool) -> dict[str, set[int]]:
    """Keys by kind of everything a thing reached (down) or came from (up).

    The thing itself is left out. One statement. KeyError for a kind not in ORDER.
    """
    reached: dict[str, set[int]] = {name: set() for name in ORDER}
    here = reached[kind]
    statement = _walk(kind, down)
    with connection.cursor() as cursor:
        cursor.execute(statement, [key] * statement.count("%s"))
        rows = cursor.fetchall()
    for name, row in rows:
        reached[name].add(row)
    here.discard(key)
    if kind == "tool":
        reached["touched"].discard(key)
    return reached
