"""What a table program would run is never run: in every table that the site serves."""

import csv
import io
import re

import pytest
from django.apps import apps
from django.db import models
from django.db.models.functions import Cast, Concat
from openpyxl import load_workbook

from shop.files.csv_table import plain_cell, typed_cell
from tests.qa.test_list_files import LISTS
from tests.test_ledger_binds import drop_what_guards
from tests.test_permissions import TABLES, addresses, ask, signed_in

# What runs in one program or another when a cell begins with it (OWASP, "CSV
# injection": the same six).
RUNS = ("=", "+", "-", "@", "\t", "\r")
NUMBER = re.compile(r"[+-]?[0-9.]+([eE][+-]?[0-9]+)?")
SAID = {"name", "note", "place", "title", "reason", "found", "description"}


@pytest.fixture
def poisoned(demo_db):
    """The demo, where whatever people name and note begins as a formula does."""
    drop_what_guards()
    changed, formula = 0, Concat(models.Value("=1+"), Cast("pk", models.CharField()))
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            free = not (field.unique or field.choices) and (field.max_length or 0) > 40
            if field.name in SAID and isinstance(field, models.CharField) and free:
                rows = models.QuerySet(model).exclude(**{field.name: ""})
                changed += rows.update(**{field.name: formula})
    assert changed > 100


def test_no_cell_of_a_table_that_is_served_runs(poisoned):
    lead, shown, held = signed_in("lead"), addresses(), 0
    served = {name: ask(lead, shown[name]) for name in TABLES}
    for name in LISTS:
        whole = {"which": "all", "as": "csv"}
        served[f"{name} as CSV"] = lead.get(shown[name], whole)
    for name, answer in served.items():
        rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
        cells = [cell for row in rows for cell in row]
        runs = [c for c in cells if c.startswith(RUNS) and not NUMBER.fullmatch(c)]
        assert len(rows) > 1 and runs == [], name
        held += sum(cell.startswith("'") for cell in cells)
    assert held > 50
    for name in LISTS:
        book = lead.get(shown[name], {"which": "all", "as": "xlsx"})
        sheets = load_workbook(io.BytesIO(book.content)).worksheets
        kinds = {cell.data_type for sheet in sheets for row in sheet for cell in row}
        assert "f" not in kinds, name


@pytest.mark.parametrize("start", RUNS)
def test_a_cell_that_would_run_is_told_as_text_and_read_back_as_it_was(start):
    for text in (f"{start}1+1", f"{start}cmd|' /C calc'!A0", f"'{start}x", start):
        cell = plain_cell(text)
        assert cell.startswith("'") and typed_cell(cell) == text
    for number in ("-0.62", "+1.5e-3", "12", ""):
        assert plain_cell(number) == number
