"""The chain both ways: from what a thing came, and what it reached.

One statement walks the whole chain, whatever its length: kinds are visited in the
order below, and from each kind the links lead to later ones (down) or earlier ones
(up). Parts made of parts, and molds from molds, are followed recursively.

Time counts: a coat or a step reaches only the pulls that came after it.
"""

# ruff: noqa: S608 -- statements are put together from names in this module only.

from dataclasses import dataclass

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
    "pull",
    "part",
    "placement",
)


@dataclass(frozen=True)
class Link:
    """Rows (up, down) that lead from one kind to another."""

    up: str
    down: str
    rows: str


def _by_entry(table: str) -> str:
    return (
        f"SELECT e.by_id AS up, f.id AS down FROM {table} f "
        "JOIN shop_entry e ON e.act = f.entry_act WHERE e.by_id IS NOT NULL"
    )


def _of_plug(table: str, when: str) -> str:
    """What was done to a plug reaches the molds that were made from it later."""
    return (
        f"SELECT f.id AS up, m.id AS down FROM {table} f "
        f"JOIN shop_tool m ON m.plug_id = f.tool_id WHERE {when} <= m.made_at"
    )


LINKS = (
    Link("person", "milling", _by_entry("shop_millingsetup")),
    Link("person", "step", _by_entry("shop_stepdone")),
    Link("person", "coat", _by_entry("shop_releasecoat")),
    Link(
        "person",
        "pull",
        "SELECT e.by_id AS up, p.id AS down FROM shop_pull p "
        "JOIN shop_entry e ON e.act = p.started_entry_id WHERE e.by_id IS NOT NULL",
    ),
    Link(
        "person",
        "pull",
        "SELECT e.by_id AS up, l.pull_id AS down FROM shop_plylaid l "
        "JOIN shop_entry e ON e.act = l.entry_act WHERE e.by_id IS NOT NULL",
    ),
    Link(
        "machine",
        "milling",
        "SELECT machine_id AS up, id AS down FROM shop_millingsetup",
    ),
    Link(
        "lot",
        "step",
        "SELECT lot_id AS up, id AS down FROM shop_stepdone WHERE lot_id IS NOT NULL",
    ),
    Link(
        "lot",
        "coat",
        "SELECT lot_id AS up, id AS down FROM shop_releasecoat "
        "WHERE lot_id IS NOT NULL",
    ),
    Link(
        "lot",
        "pull",
        "SELECT lot_id AS up, pull_id AS down FROM shop_plylaid "
        "WHERE lot_id IS NOT NULL",
    ),
    Link(
        "lot",
        "pull",
        "SELECT resin_lot_id AS up, pull_id AS down FROM shop_resinbatch "
        "WHERE resin_lot_id IS NOT NULL",
    ),
    Link(
        "lot",
        "pull",
        "SELECT hardener_lot_id AS up, pull_id AS down FROM shop_resinbatch "
        "WHERE hardener_lot_id IS NOT NULL",
    ),
    Link(
        "milling", "touched", "SELECT id AS up, tool_id AS down FROM shop_millingsetup"
    ),
    Link("step", "touched", "SELECT id AS up, tool_id AS down FROM shop_stepdone"),
    Link("coat", "touched", "SELECT id AS up, tool_id AS down FROM shop_releasecoat"),
    Link(
        "milling",
        "tool",
        "SELECT f.id AS up, m.id AS down FROM shop_millingsetup f "
        "JOIN shop_tool m ON m.plug_id = f.tool_id "
        "WHERE f.milled_on <= DATE(m.made_at)",
    ),
    Link("step", "tool", _of_plug("shop_stepdone", "f.done_at")),
    Link("coat", "tool", _of_plug("shop_releasecoat", "f.applied_at")),
    Link(
        "step",
        "pull",
        "SELECT f.id AS up, p.id AS down FROM shop_stepdone f "
        "JOIN shop_pull p ON p.tool_id = f.tool_id AND f.done_at <= p.started_at",
    ),
    Link(
        "coat",
        "pull",
        "SELECT f.id AS up, p.id AS down FROM shop_releasecoat f "
        "JOIN shop_pull p ON p.tool_id = f.tool_id AND p.surface = f.surface "
        "AND f.applied_at <= p.started_at",
    ),
    Link(
        "tool",
        "tool",
        "SELECT plug_id AS up, id AS down FROM shop_tool WHERE plug_id IS NOT NULL",
    ),
    Link("tool", "pull", "SELECT tool_id AS up, id AS down FROM shop_pull"),
    Link("laminate", "pull", "SELECT laminate_id AS up, id AS down FROM shop_pull"),
    Link(
        "pull",
        "part",
        "SELECT pull_id AS up, part_id AS down FROM shop_lineage "
        "WHERE pull_id IS NOT NULL",
    ),
    Link(
        "part",
        "part",
        "SELECT source_id AS up, part_id AS down FROM shop_lineage "
        "WHERE source_id IS NOT NULL",
    ),
    Link("part", "placement", "SELECT part_id AS up, id AS down FROM shop_placement"),
)


def _walk(start: str, down: bool) -> str:
    """One statement: a common table expression per kind, each fed by earlier ones."""
    order = ORDER if down else ORDER[::-1]
    source, target = ("up", "down") if down else ("down", "up")
    tables = []
    for kind in order:
        feeds = [
            f"SELECT x.{target} FROM ({link.rows}) x "
            f"WHERE x.{source} IN (SELECT id FROM at_{getattr(link, source)})"
            for link in LINKS
            if getattr(link, target) == kind and getattr(link, source) != kind
        ]
        seeded = kind == start or (start == "tool" and kind == "touched")
        seed = "SELECT CAST(%s AS bigint) AS id" + ("" if seeded else " WHERE 1 = 0")
        loops = [
            f"SELECT x.{target} FROM ({link.rows}) x JOIN at_{kind} a "
            f"ON x.{source} = a.id"
            for link in LINKS
            if link.up == link.down == kind
        ]
        first = " UNION ".join([seed, *feeds])
        if loops:
            tables.append(f"from_{kind}(id) AS ({first})")
            first = " UNION ".join([f"SELECT id FROM from_{kind}", *loops])
        tables.append(f"at_{kind}(id) AS ({first})")
    ends = " UNION ALL ".join(
        f"SELECT '{kind}' AS kind, id FROM at_{kind}" for kind in order
    )
    return f"WITH RECURSIVE {', '.join(tables)} {ends}"


def reach(kind: str, key: int, *, down: bool) -> dict[str, set[int]]:
    """Keys by kind of everything a thing reached (down) or came from (up).

    The thing itself is left out. One statement.
    """
    statement = _walk(kind, down)
    with connection.cursor() as cursor:
        cursor.execute(statement, [key] * statement.count("%s"))
        rows = cursor.fetchall()
    found: dict[str, set[int]] = {name: set() for name in ORDER}
    for name, row in rows:
        found[name].add(row)
    found[kind].discard(key)
    if kind == "tool":
        found["touched"].discard(key)
    return found
