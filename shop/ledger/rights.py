"""What the role of the site may do in PostgreSQL: add facts, never change the guards.

The tables belong to another role, which migrates and serves nothing. The site's own
owns nothing: it can neither drop, disable nor replace a trigger, empty a table, nor
make one.
"""

from collections.abc import Iterator

from django.apps import apps

from shop.models import Entry, Seal

from .guards import guarded_models

# Written by `migrate` alone.
ONLY_READ = ("django_migrations", "django_content_type", "auth_permission")
EVERYTHING = "SELECT, INSERT, UPDATE, DELETE"


def statements(role: str, quote) -> Iterator[str]:
    """Give the SQL for the owner of the tables, after each migrate; it may run twice.

    quote: of the database, for names.
    """
    name = quote(role)
    yield (
        "DO $$ BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = "
        f"'{role}') THEN CREATE ROLE {name} LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE "
        "NOREPLICATION NOBYPASSRLS; END IF; EXCEPTION WHEN insufficient_privilege THEN "
        f"RAISE EXCEPTION 'There is no role {role}, and who owns the tables may make "
        f"none: let an administrator run CREATE ROLE {role} LOGIN PASSWORD ''...''; "
        "then run this again'; END $$"
    )
    yield "REVOKE CREATE ON SCHEMA public FROM PUBLIC"
    for kind in ("TABLES", "SEQUENCES"):
        yield f"REVOKE ALL ON ALL {kind} IN SCHEMA public FROM {name}"
    yield f"GRANT USAGE ON SCHEMA public TO {name}"
    yield f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {name}"
    for table in ONLY_READ:
        yield f"GRANT SELECT ON {quote(table)} TO {name}"
    guarded, spine = set(guarded_models()), {Entry, Seal}
    for model in apps.get_models(include_auto_created=True):
        table = model._meta.db_table
        if model in spine:
            yield f"GRANT SELECT, INSERT ON {quote(table)} TO {name}"
        elif model in guarded:
            # A row can be locked only by who may change a column of it: of the one that
            # numbers it, which the guard refuses to change like any other.
            key = quote(model._meta.pk.column)
            yield f"GRANT SELECT, INSERT, UPDATE ({key}) ON {quote(table)} TO {name}"
        elif table not in ONLY_READ:
            yield f"GRANT {EVERYTHING} ON {quote(table)} TO {name}"
