"""Templates in the real LibreOffice with the functions installed: opened, filled by typing, changed, saved.

The program must be installed; a machine without it fails these tests on purpose.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from openpyxl import Workbook
from openpyxl.cell import Cell
from typer.testing import CliRunner

from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import CellError
from dampcell.workbooks.checking import check_workbook
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.forms.demo import demo_jobs, fill
from dampcell.workbooks.forms.sheet import Place
from dampcell.workbooks.forms.templates import KINDS, TEMPLATES, template_bytes
from dampcell.workbooks.ledger_command import FILE_NAME
from dampcell.workbooks.package import open_package
from dampcell.workbooks.reading import read_record
from dampcell.workbooks.sheets import address
from dampcell.workbooks.sources import SavedCells

if TYPE_CHECKING:
    from tests.hosts.conftest import Calc

pytestmark = pytest.mark.real_program

JOB = demo_jobs()[2]
EPOCH = datetime.date(1899, 12, 30)


def typed_cells(kind: str, job: Mapping[str, Any]) -> dict[str, Any]:
    """What a person types into a fresh workbook to fill in a job: input cells only, by address."""
    fresh, _ = TEMPLATES[kind].build()
    filled, places = TEMPLATES[kind].build()
    fill(filled, places, job)
    return dict(_differences(fresh, filled))


def _differences(fresh: Workbook, filled: Workbook) -> Iterator[tuple[str, Any]]:
    for sheet in filled.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell, Cell) and cell.value != fresh[sheet.title][cell.coordinate].value:
                    value: Any = cell.value
                    if isinstance(value, datetime.date):
                        value = (value - EPOCH).days
                    yield f"{sheet.title}!{cell.coordinate}", value


def on_disk(calc: Calc, name: str, data: bytes) -> Path:
    path = calc.work / name
    path.write_bytes(data)
    path.chmod(0o644)
    return path


@pytest.fixture(scope="module")
def saved(calc: Calc) -> Path:
    """A stack record that was filled from nothing in LibreOffice, by typing into input cells, and saved."""
    path, target = on_disk(calc, "fresh.xlsx", template_bytes("stack_record", {})), calc.work / "filled.xlsx"
    with calc.workbook(path):
        calc.ask("type", cells=typed_cells("stack_record", JOB))
        calc.ask("calculate")
        assert calc.ask("errors") == []
        calc.ask("save", path=str(target))
    return target


@pytest.mark.parametrize("kind", KINDS)
def test_a_fresh_template_has_no_error_cell(calc: Calc, kind: str) -> None:
    path = on_disk(calc, f"{kind}.xlsx", template_bytes(kind, {}))
    again = calc.work / f"{kind}-again.xlsx"
    with calc.workbook(path):
        calc.ask("calculate")
        assert calc.ask("errors") == []
        calc.ask("save", path=str(again))
    result = recalculate(again.read_bytes(), again.name)
    assert [str(finding) for finding in (*result.findings, *result.errors())] == []


def test_a_record_filled_in_calc_reads_as_it_was_typed(saved: Path) -> None:
    data = saved.read_bytes()
    result = recalculate(data, saved.name)
    record = read_record(SavedCells(open_package(data, saved.name), result), saved.name)
    assert record.job.job_date == JOB["fields"]["job_date"]
    assert [row[0] for row in record.variants[0].rows] == ["shim"] * 5 + ["clamp"]
    assert record.valve.velocities == (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0)
    assert record.teardown.layers[0].part == "Eyelet and cap"


def test_calc_saves_the_numbers_that_our_engine_computes(saved: Path) -> None:
    """To 15 digits, which LibreOffice writes into the file; it rounds what is nearly 0 to 0."""
    result = recalculate(saved.read_bytes(), saved.name)
    assert result.errors() == ()
    compared = 0
    for cell in result.cells.values():
        if isinstance(cell.value, float) and isinstance(cell.saved, float):
            assert cell.saved == pytest.approx(cell.value, rel=1e-13, abs=1e-12), (cell.sheet, cell.cell)
            compared += 1
        else:
            assert isinstance(cell.saved, CellError) is False, (cell.sheet, cell.cell)
    assert compared > 300


def test_typing_into_a_calculated_cell_is_not_possible(calc: Calc) -> None:
    path = on_disk(calc, "locked.xlsx", template_bytes("stack_record", {}))
    _, places = TEMPLATES["stack_record"].build()
    with calc.workbook(path), pytest.raises(AssertionError, match="is no input cell"):
        calc.ask("type", cells={_cell(places["oil_index"]): 100})


def test_rows_inserted_in_the_middle_of_a_table_are_read(calc: Calc, saved: Path) -> None:
    _, places = TEMPLATES["stack_record"].build()
    target, place = calc.work / "row.xlsx", places["stack_as_found"]
    with calc.workbook(saved):
        calc.ask("insert_row", sheet="Stacks", row=place.top + 2)
        new = {address(place.top + 2, place.left + n): v for n, v in enumerate(("shim", 19, "0,15 mm", 1))}
        calc.ask("put", cells={f"Stacks!{cell}": value for cell, value in new.items()})
        calc.ask("calculate")
        assert calc.ask("errors") == []
        calc.ask("save", path=str(target))
    data = target.read_bytes()
    record = read_record(
        SavedCells(open_package(data, target.name), recalculate(data, target.name)), target.name
    )
    assert record.variants[0].rows[2] == ("shim", 19.0, "0,15 mm", 1.0, None)
    assert len(record.variants[0].rows) == 7


def test_a_sheet_renamed_in_calc_is_read(calc: Calc, saved: Path) -> None:
    target = calc.work / "renamed.xlsx"
    with calc.workbook(saved):
        calc.ask("rename", sheet="Stacks", name="Fred's stacks")
        calc.ask("save", path=str(target))
    data = target.read_bytes()
    result = recalculate(data, target.name)
    assert result.errors() == ()
    record = read_record(SavedCells(open_package(data, target.name), result), target.name)
    assert record.variants[0].sheet == "Fred's stacks"


def test_a_column_moved_in_calc_is_refused_at_its_head(calc: Calc, saved: Path) -> None:
    _, places = TEMPLATES["stack_record"].build()
    target, place = calc.work / "moved.xlsx", places["stack_as_found"]
    thickness = f"{address(place.top - 1, place.left + 2)}:{address(place.bottom, place.left + 2)}"
    with calc.workbook(saved):
        calc.ask("move_column", area=f"Stacks!{thickness}", to=f"Stacks!{address(place.top - 1, 20)}")
        calc.ask("save", path=str(target))
    found = check_workbook(target.read_bytes(), target.name)
    assert "the head of this column is not the expected one" in str(found.to_mend[-1])
    assert found.to_mend[-1].cell == address(place.top - 1, place.left + 2)
    with pytest.raises(WorkbookError, match="put the columns back in order"):
        read_record(SavedCells(open_package(target.read_bytes(), target.name)), target.name)


def test_a_comparison_is_built_by_typing_and_choosing_names(calc: Calc) -> None:
    valve = {**JOB["pairs"]["valve"], "a seat diameter": 19.5, "a seat height": 0.05}
    job = {
        "fields": {
            "baseline": "As found",
            "label_1": "S1",
            "label_2": "S2",
            "valve_label_1": "V",
            "match_variant": "Warm",
            "most_shims": 5,
        },
        "tables": {
            "stack_1": [row[:5] for row in JOB["tables"]["stack_as_found"]],
            "stack_2": [row[:5] for row in JOB["tables"]["stack_a"]],
            "oils": [["Thin", 14.1, 3.95, 848], ["Thick", 18.6, 4.75, 856]],
            "drawer": [[22, 0.15, 4], [20, 0.15, 2], [18, 0.15, 3], [16, 0.15, 2]],
            "wish": [[0.5, -12]],
            "variants": [
                ["As found", "S1", "V", "Thin", 30, 6],
                ["Softer", "S2", "V", "Thin", 30, 6],
                ["Thicker oil", "S1", "V", "Thick", 30, 6],
                ["Warm", "S1", "V", "Thin", 45, 6],
                ["Clicks in", "S1", "V", "Thin", 30, 3],
                ["Found", "From the drawer", "V", "Thin", 45, 6],
            ],
        },
        "pairs": {"valve_1": valve},
    }
    _, places = TEMPLATES["comparison"].build()
    path, target = on_disk(calc, "table.xlsx", template_bytes("comparison", {})), calc.work / "built.xlsx"
    with calc.workbook(path):
        calc.ask("type", cells=typed_cells("comparison", job))
        calc.ask("calculate")
        assert calc.ask("errors") == []
        calc.ask("save", path=str(target))
    result = recalculate(target.read_bytes(), target.name)
    grid = places["forces"]
    for row in range(6):
        for column in range(7):
            cell = result.cells["Comparison", address(grid.top + row, grid.left + column)]
            assert isinstance(cell.value, float)
            assert cell.saved == pytest.approx(cell.value, rel=1e-13)
    matches = places["matches"]
    best = result.cells["Match", address(matches.top, matches.left + 1)]
    assert best.value == best.saved
    assert "clamp 10" in str(best.value)
    changes = places["force_changes"]
    # "Found" is warm like the variant that the search started from: 12 % less than that one at 0.5 m/s.
    forces = [result.cells["Comparison", address(grid.top + row, grid.left + 3)].saved for row in (3, 5)]
    assert isinstance(forces[0], float)
    assert isinstance(forces[1], float)
    promised = result.cells["Match", address(matches.top, matches.left + 4)].saved
    assert 100 * (forces[1] / forces[0] - 1) == pytest.approx(promised, rel=1e-9)
    assert result.cells["Comparison", address(changes.top, changes.left)].saved == 0


def test_an_oil_shelf_is_filled_by_typing_and_tells_what_is_in_the_bottles(calc: Calc) -> None:
    job = {
        "fields": {"workshop": "Hillside Damper Works", "working_temperature": 40},
        "tables": {
            "bottles": [
                ["Thin", "5 wt", "14,1 cSt", 3.95, 848, "data sheet", "", 1000, 640, 36, 100, "Left"],
                ["Thick", "10 wt", 31.8, 6.4, 866, "measured", "", 1000, 500, 22.5, 300, "Right"],
            ],
            "blends": [["Thin", "Thick", 20, 300]],
            "measured": [["Own", "Bottle 1", "", 20, 24.6, 60, 8.4]],
        },
    }
    _, places = TEMPLATES["oil_shelf"].build()
    path, target = on_disk(calc, "shelf.xlsx", template_bytes("oil_shelf", {})), calc.work / "shelf-2.xlsx"
    with calc.workbook(path):
        calc.ask("type", cells=typed_cells("oil_shelf", job))
        calc.ask("calculate")
        assert calc.ask("errors") == []

        def shown(name: str) -> Any:
            return calc.ask("get", area=_cell(places[name]))[0][0]

        # At 40 °C it has what the bottle says; 36 a litre and 100 ml a service; 640 ml are six services.
        assert shown("real.viscosity") == pytest.approx(14.1, rel=1e-9)
        assert [shown(f"real.{name}") for name in ("service_cost", "services_left")] == [3.6, 6]
        assert "5 wt" in shown("real.label_says")
        assert 0 < shown("blends.share") < 1
        assert shown("blends.volume_a") + shown("blends.volume_b") == pytest.approx(300)
        assert 8.4 < shown("measured.viscosity_40") < 24.6
        calc.ask("save", path=str(target))
    assert check_workbook(target.read_bytes(), target.name).to_mend == ()


def test_a_row_grows_with_the_note_that_is_typed_into_it(calc: Calc) -> None:
    _, places = TEMPLATES["stack_record"].build()
    place = places["teardown"]
    path = on_disk(calc, "notes.xlsx", template_bytes("stack_record", {}))
    with calc.workbook(path):
        before = calc.ask("row_height", sheet=place.sheet, row=place.top)
        cell = f"{place.sheet}!{address(place.top, place.left + 5)}"
        calc.ask("type", cells={cell: "Looked at against the light: bent by about 0.1 mm, replaced. " * 3})
        assert calc.ask("row_height", sheet=place.sheet, row=place.top) > 2.2 * before


def test_a_bookkeeper_fills_the_ledger_reads_it_types_into_it_and_fills_it_again(calc: Calc) -> None:
    # By hand, from the price lines of templates/demo/jobs.toml: 207.30, 265.00 and 106.90.
    billed = 579.2
    folder = calc.work / "year"
    (folder / "jobs").mkdir(parents=True)
    for item in files("dampcell.templates").joinpath("demo").iterdir():
        if item.name.endswith(".xlsx"):
            (folder / "jobs" / item.name).write_bytes(item.read_bytes())
    _, places = TEMPLATES["service_ledger"].build()
    target, used = folder / FILE_NAME, calc.work / "used.xlsx"

    def fill_ledger() -> None:
        done = CliRunner().invoke(
            build_app("ledger"),
            ["ledger", str(folder / "jobs"), "--out", str(target), "--date", "2025-12-31"],
        )
        assert done.exit_code == 0, done.output
        target.chmod(0o644)
        folder.chmod(0o755)

    def shown(name: str, down: int = 0, across: int = 0) -> Any:
        place = places[name]
        cell = address(place.top + down, place.left + across)
        return calc.ask("get", area=f"{place.sheet}!{cell}")[0][0]

    fill_ledger()
    with calc.workbook(target):
        calc.ask("calculate")
        assert calc.ask("errors") == []
        assert [shown("services_total"), shown("amount_total")] == [3, pytest.approx(billed)]
        assert [shown("by_technician", row) for row in range(3)] == ["JS", "MK", ""]
        own = ["H-1", (datetime.date(2025, 11, 3) - EPOCH).days, "bleed", "Ridge 36", "", "JS", "C-9", 30.5]
        jobs, shelf, period = places["jobs"], places["shelf"], places["order_period"]
        typed = {f"{jobs.sheet}!{address(jobs.top + 3, jobs.left + n)}": value for n, value in enumerate(own)}
        bottle = ["Brindlemoor Oils Damp 5", 1000, 10]
        typed |= {f"{shelf.sheet}!{address(shelf.top, shelf.left + n)}": v for n, v in enumerate(bottle)}
        typed |= {_cell(period): "2025", _cell(places["cover_factor"]): 1, _cell(places["tax_rate"]): 0.19}
        calc.ask("type", cells=typed)
        calc.ask("insert_sheet", name="My notes")
        calc.ask("put", cells={"My notes!A1": "Ask about the discount"})
        calc.ask("calculate")
        assert calc.ask("errors") == []
        assert [shown("services_total"), shown("amount_total")] == [4, pytest.approx(billed + 30.5)]
        # 262, 14 and 8 ml went in, see the bleed log of job 2025-041; 10 ml are left.
        assert [shown("orders", 0, column) for column in (0, 1, 3)] == ["Brindlemoor Oils Damp 5", 284, 1]
        calc.ask("save", path=str(used))
    target.write_bytes(used.read_bytes())
    fill_ledger()
    with calc.workbook(target):
        calc.ask("calculate")
        assert calc.ask("errors") == []
        assert [shown("services_total"), shown("amount_total")] == [4, pytest.approx(billed + 30.5)]
        assert [shown("order_period"), shown("cover_factor"), shown("tax_rate")] == ["2025", 1, 0.19]
        assert shown("shelf") == "Brindlemoor Oils Damp 5"
        assert calc.ask("get", area="My notes!A1") == [["Ask about the discount"]]


def _cell(place: Place) -> str:
    return f"{place.sheet}!{address(place.top, place.left)}"
