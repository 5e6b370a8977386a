"""Money and counts against the outside.

Cases with their sources: data/ledger_cases.json. Among them a printed sales-tax example (legalclarity.org,
the rule of the Streamlined Sales and Use Tax Agreement, section 324, third decimal half up), a printed
difference of tax per item and per invoice (LibreOffice users list, 2013), and a requirement on undated rows.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from dampcell.functions.money import sales_tax
from dampcell.functions.periods import UNDATED
from dampcell.functions.registry import evaluate

CASES: dict[str, dict[str, Any]] = {
    case["id"]: case
    for case in json.loads(
        (Path(__file__).parent / "data" / "ledger_cases.json").read_text(encoding="utf-8")
    )["cases"]
}


def test_tax_as_printed() -> None:
    case = CASES["LEDG-001"]
    tax = sales_tax([Decimal(case["inputs"]["amount"])], Decimal(case["inputs"]["rate"]))
    assert str(tax) == case["expected"]["tax"]


def test_tax_on_items_and_on_the_invoice_differ_as_printed() -> None:
    case = CASES["LEDG-005"]
    items = [Decimal(item) for item in case["inputs"]["items"]]
    rate = Decimal(case["inputs"]["rate"])
    assert str(sales_tax(items, rate, "item")) == case["expected"]["item_basis"]
    assert str(sales_tax(items, rate, "invoice")) == case["expected"]["invoice_basis"]


def test_counts_by_month_and_kind_with_undated_rows() -> None:
    case = CASES["LEDG-020"]
    jobs = [[f"J-{number}", *row] for number, row in enumerate(case["inputs"]["rows"], start=1)]
    found: dict[str, dict[str, int]] = {}
    for month in ("2026-01", "2026-02", UNDATED):
        for kind in ("full", "lower"):
            count = _count([jobs, month, kind])
            if count:
                found.setdefault(month, {})[kind] = count
    assert found == case["expected"]
    # "sum of cells = row count 6"
    assert sum(count for kinds in found.values() for count in kinds.values()) == len(jobs) == 6


def _count(arguments: Sequence[object]) -> int:
    value = evaluate("SERVICE_COUNT", arguments).value
    assert isinstance(value, int)
    return value
