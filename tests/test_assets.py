"""The asset list, read back by the standard library's CSV reader (RFC 4180) and by openpyxl."""

import csv
import io

from openpyxl import load_workbook

from bot.report.assets import COLUMNS, as_csv, as_xlsx, rows
from tests.model.kit import ADMIN, SERIAL, Walk, plan
from tests.model.test_visit_spares import SPARE, agreed, returning, swap


def listed(walk: Walk) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(as_csv([walk.visit]), newline="")))


def test_each_unit_stands_with_what_it_replaced() -> None:
    walk = agreed()
    swap(walk)
    found = listed(walk)
    assert [(row["old serial"], row["new serial"], row["return"]) for row in found] == [
        (SERIAL, SPARE, "stays")
    ]


def test_where_the_old_one_is() -> None:
    walk = returning()
    walk.order("tracking", ADMIN, tracking="HL123456789")
    walk.order("return_back", ADMIN)
    walk.order("return_wiped", ADMIN)
    (row,) = listed(walk)
    assert (row["return"], row["tracking"], row["wiped by"]) == ("back", "HL123456789", ADMIN.user)
    assert row["wiped at"].startswith("2026-10-20 ")


def test_the_workbook_says_the_same() -> None:
    walk = returning()
    sheet = load_workbook(io.BytesIO(as_xlsx([walk.visit]))).active
    assert sheet is not None
    cells = [tuple(value or "" for value in row) for row in sheet.iter_rows(values_only=True)]
    assert cells == [COLUMNS, *rows([walk.visit])]


def test_nothing_of_it_is_taken_for_a_formula() -> None:
    walk = returning()
    walk.order("tracking", ADMIN, tracking="=1+1 234567")
    assert listed(walk)[0]["tracking"] == "'=1+1 234567"
    assert Walk(plan()).visit.spares.returns == ()
