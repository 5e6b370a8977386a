"""The comparison table: forces of the cell functions, variants by name, percent against any baseline."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

import pytest
from openpyxl import Workbook

from dampcell.functions import cells
from dampcell.functions.registry import evaluate
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.fields import field_names
from dampcell.workbooks.forms.comparison import KIND, build_comparison, finished
from dampcell.workbooks.forms.demo import demo_jobs, fill
from dampcell.workbooks.forms.sheet import Place
from dampcell.workbooks.results import Recalculated
from dampcell.workbooks.sheets import address

FILE = "comparison.xlsx"
JOB = demo_jobs()[2]
STACKS = {name: [row[:5] for row in JOB["tables"][name]] for name in ("stack_as_found", "stack_a", "stack_b")}
VALVE = {**JOB["pairs"]["valve"], "a seat diameter": 19.5, "a seat height": 0.05}
OILS = [["Damp 2.5", 14.1, 3.95, 848], ["Damp 5", 18.6, 4.75, 856]]
VELOCITIES = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0)
VARIANTS = [
    ["As found", "Stack 1", "Loam", "Damp 2.5", 30, 6],
    ["One face shim", "Stack 2", "Loam", "Damp 2.5", 30, 6],
    ["Thin pyramid", "Stack 3", "Loam", "Damp 2.5", 30, 6],
    ["Thicker oil", "Stack 1", "Loam", "Damp 5", 30, 6],
    ["Two clicks in", "Stack 1", "Loam", "Damp 2.5", 30, 4],
]
FILLED: Mapping[str, Any] = {
    "fields": {
        "comparison_title": "Loam coil shock",
        "baseline": "As found",
        "band_velocity": 0,
        "label_1": "Stack 1",
        "label_2": "Stack 2",
        "label_3": "Stack 3",
        "valve_label_1": "Loam",
    },
    "tables": {
        "stack_1": STACKS["stack_as_found"],
        "stack_2": STACKS["stack_a"],
        "stack_3": STACKS["stack_b"],
        "oils": OILS,
        "variants": VARIANTS,
    },
    "pairs": {"valve_1": VALVE},
}


class Found:
    """Results of a comparison by field, row and column."""

    def __init__(self, result: Recalculated, places: Mapping[str, Place]) -> None:
        self.result = result
        self.places = places

    def at(self, name: str, row: int, column: int = 0) -> object:
        place = self.places[name]
        return self.result.value(place.sheet, address(place.top + row, place.left + column))


def compared(job: Mapping[str, Any], more: Mapping[str, Any] | None = None) -> Found:
    workbook, places = build_comparison()
    fill(workbook, places, job)
    if more:
        fill(workbook, places, more)
    return Found(recalculate(finished(workbook), FILE), places)


@functools.cache
def five() -> Found:
    return compared(FILLED)


def changed(**fields: object) -> Mapping[str, Any]:
    return {"fields": fields, "tables": {}}


def force(velocity: float, stack: str, oil: list[Any], clicks: float) -> object:
    valve = [list(pair) for pair in VALVE.items()]
    return evaluate("DAMPING_FORCE", [velocity, STACKS[stack], valve, [oil[1:]], 30, clicks]).value


def test_cell_functions_are_loaded() -> None:
    assert cells.__all__


def test_every_variant_has_the_force_of_the_cell_function() -> None:
    assert five().result.errors() == ()
    assert five().result.findings == ()
    wanted = [
        ("stack_as_found", OILS[0], 6.0),
        ("stack_a", OILS[0], 6.0),
        ("stack_b", OILS[0], 6.0),
        ("stack_as_found", OILS[1], 6.0),
        ("stack_as_found", OILS[0], 4.0),
    ]
    for row, (stack, oil, clicks) in enumerate(wanted):
        for column, velocity in enumerate(VELOCITIES):
            assert five().at("forces", row, column) == force(velocity, stack, oil, clicks)


def test_changes_are_against_the_baseline() -> None:
    for row in range(5):
        for column in range(len(VELOCITIES)):
            here, base = five().at("forces", row, column), five().at("forces", 0, column)
            assert isinstance(here, float)
            assert isinstance(base, float)
            assert five().at("force_changes", row, column) == pytest.approx(100 * (here / base - 1), abs=1e-9)


def test_any_variant_can_be_the_baseline() -> None:
    found = compared(FILLED, changed(baseline="Thicker oil"))
    assert found.at("force_changes", 3, 2) == 0.0
    change = found.at("force_changes", 0, 0)
    assert isinstance(change, float)
    assert change < 0.0


def test_without_a_baseline_there_are_forces_but_no_changes() -> None:
    found = compared(FILLED, changed(baseline="Nobody"))
    assert isinstance(found.at("forces", 1, 3), float)
    assert found.at("force_changes", 1, 3) == ""


def test_free_rows_stay_blank() -> None:
    assert [five().at("forces", 6, column) for column in range(7)] == [""] * 7
    assert five().at("variants", 6, len(field_names(KIND)["variants"].columns) - 1) == ""


def test_a_velocity_left_blank_leaves_its_column_blank() -> None:
    workbook, places = build_comparison()
    fill(workbook, places, FILLED)
    place = places["velocities"]
    workbook[place.sheet].cell(place.top, place.left + 2).value = None
    found = Found(recalculate(finished(workbook), FILE), places)
    assert found.at("forces", 0, 2) == ""
    assert found.at("force_changes", 0, 2) == ""
    assert found.at("forces", 0, 3) == five().at("forces", 0, 3)
    assert found.result.errors() == ()


@pytest.mark.parametrize(
    ("row", "missing"),
    [
        (["", "Stack 1", "Loam", "Damp 2.5", 30], "a name"),
        (["X", "Stack 9", "Loam", "Damp 2.5", 30], "a stack from the sheet Stacks"),
        (["X", "Stack 1", "Lom", "Damp 2.5", 30], "a valve from the sheet Valves"),
        (["X", "Stack 1", "Loam", "Damp 10", 30], "an oil from the sheet Oils"),
        (["X", "Stack 1", "Loam", "Damp 2.5", ""], "the temperature"),
    ],
)
def test_a_variant_says_what_it_still_needs(row: list[object], missing: str) -> None:
    found = compared({**FILLED, "tables": {**FILLED["tables"], "variants": [row]}})
    assert found.at("variants", 0, len(field_names(KIND)["variants"].columns) - 1) == missing
    assert found.at("forces", 0, 0) == ""
    assert found.result.errors() == ()


@pytest.mark.parametrize(
    ("fields", "tables", "missing"),
    [
        ({}, {"variants": [VARIANTS[0], ["as found", *VARIANTS[1][1:]]]}, "a name that no other variant has"),
        ({"label_4": "Stack 1"}, {}, "a stack whose name is on the sheet Stacks only once"),
        ({"valve_label_3": "Loam"}, {}, "a valve whose name is on the sheet Valves only once"),
        ({}, {"oils": [*OILS, OILS[0]]}, "an oil whose name is on the sheet Oils only once"),
    ],
)
def test_what_has_the_name_of_another_is_not_reckoned_with(
    fields: Mapping[str, Any], tables: Mapping[str, Any], missing: str
) -> None:
    job = {"fields": {**FILLED["fields"], **fields}, "tables": {**FILLED["tables"], **tables}}
    found = compared({**FILLED, **job})
    assert found.at("variants", 0, len(field_names(KIND)["variants"].columns) - 1) == missing
    assert found.at("forces", 0, 0) == ""
    assert found.result.errors() == ()


@pytest.mark.parametrize(
    ("baseline", "told"),
    [
        ("", "no variant is chosen above"),
        ("Nobody", "no variant is called Nobody"),
        ("Thicker oil", "Thicker oil"),
    ],
)
def test_the_percentages_say_what_they_are_against(baseline: str, told: str) -> None:
    few = {**FILLED, "fields": {**FILLED["fields"], "baseline": baseline}}
    assert compared(few).at("baseline_finding", 0) == told


def test_the_tolerance_band_is_that_of_the_cell_function() -> None:
    few = {**FILLED, "tables": {**FILLED["tables"], "variants": VARIANTS[:1]}}
    found = compared(few, changed(band_velocity=0.5, thickness_tolerance=0.004, clamp_tolerance=0.1))
    valve = [list(pair) for pair in VALVE.items()]
    arguments = [STACKS["stack_as_found"], valve, [OILS[0][1:]], 30, 6, 0.5, 2, 0.004, 0.1, "0"]
    rows = evaluate("DAMPING_CURVE", arguments).value
    assert isinstance(rows, list)
    _, nominal, low, high = rows[1]
    assert [found.at("bands", 0, column) for column in (1, 2, 3)] == [low, nominal, high]
    assert found.at("bands", 0, 4) == pytest.approx(100 * (low / nominal - 1), abs=1e-9)
    assert found.at("bands", 0, 5) == pytest.approx(100 * (high / nominal - 1), abs=1e-9)


DRAWER = [[22, 0.15, 4], [20, 0.15, 2], [18, 0.15, 3], [16, 0.15, 2], [14, 0.15, 2]]
WISH = [[0.5, -12]]


def wanting(match_variant: str = "As found", **tables: Any) -> Mapping[str, Any]:
    return {
        **FILLED,
        "fields": {**FILLED["fields"], "match_variant": match_variant, "most_shims": 6},
        "tables": {**FILLED["tables"], "variants": VARIANTS[:1], **tables},
    }


def test_stacks_from_the_drawer_are_those_of_the_cell_function() -> None:
    found = compared(wanting(drawer=DRAWER, wish=WISH))
    valve = [list(pair) for pair in VALVE.items()]
    arguments = [DRAWER, STACKS["stack_as_found"], valve, [OILS[0][1:]], 30, 6, WISH, 6]
    rows = evaluate("STACK_MATCH", arguments).value
    assert isinstance(rows, list)
    for index, row in enumerate(rows):
        assert [found.at("matches", index, column) for column in range(len(row))] == row
    assert "best first" in str(found.at("match_finding", 0))
    read = evaluate("STACK_READ", [rows[0][1]]).value
    assert isinstance(read, list)
    assert [found.at("match_rows", 0, column) for column in range(4)] == read[0]
    assert found.at("match_rows", len(read), 0) == ""
    assert found.result.errors() == ()


@pytest.mark.parametrize(
    ("job", "missing"),
    [
        (wanting("Nobody", drawer=DRAWER, wish=WISH), "a variant to start from"),
        (wanting(wish=WISH), "shims on the sheet Drawer"),
        (wanting(drawer=DRAWER), "what is wanted"),
        (
            wanting(drawer=DRAWER, wish=WISH, variants=[["As found", "Stack 1"]]),
            "the variant needs a valve from the sheet Valves",
        ),
    ],
)
def test_a_search_says_what_it_still_needs(job: Mapping[str, Any], missing: str) -> None:
    found = compared(job)
    assert found.at("match_missing", 0) == missing
    assert found.at("match_finding", 0) == ""
    assert found.at("matches", 0, 1) == ""


def test_a_search_that_finds_nothing_says_why() -> None:
    found = compared(wanting(drawer=[[14, 0.15, 2]], wish=WISH))
    assert "seat" in str(found.at("match_finding", 0))
    assert found.at("matches", 0, 0) == ""
    assert found.result.errors() == ()


DRAWN = ["From there", "From the drawer", "Loam", "Damp 2.5", 30, 6]


def test_the_stack_chosen_from_the_drawer_is_a_variant_like_any_other() -> None:
    job = wanting(drawer=DRAWER, wish=WISH, variants=[VARIANTS[0], DRAWN])
    found = compared(job, changed(match_rank=2))
    assert found.result.errors() == ()
    words = found.at("matches", 1, 1)
    assert found.at("match_rows", 0, 1) == 22.0 or found.at("match_rows", 0, 1) == 20.0
    valve = [list(pair) for pair in VALVE.items()]
    for column, velocity in enumerate(VELOCITIES):
        stack = evaluate("STACK_READ", [words]).value
        wanted = evaluate("DAMPING_FORCE", [velocity, stack, valve, [OILS[0][1:]], 30, 6]).value
        assert found.at("forces", 1, column) == wanted
    # What the search promised at its velocity, 0.5 m/s, is what the table shows.
    assert found.at("force_changes", 1, 3) == pytest.approx(found.at("matches", 1, 4), abs=1e-8)


def test_a_variant_from_the_drawer_waits_for_the_search() -> None:
    found = compared(wanting(drawer=DRAWER, variants=[VARIANTS[0], DRAWN]))
    assert found.at("variants", 1, len(field_names(KIND)["variants"].columns) - 1) == (
        "a stack on the sheet Match"
    )
    assert found.at("forces", 1, 0) == ""
    assert found.result.errors() == ()


def test_a_search_cannot_start_from_what_it_finds() -> None:
    found = compared(wanting("From there", drawer=DRAWER, wish=WISH, variants=[VARIANTS[0], DRAWN]))
    assert found.at("match_missing", 0) == "a variant whose stack stands on the sheet Stacks"
    assert found.at("matches", 0, 1) == ""
    assert found.result.errors() == ()


def test_a_shim_of_which_none_is_left_stays_in_the_drawer() -> None:
    found = compared(wanting(drawer=[*DRAWER, [19, 0.15, 0]], wish=WISH))
    assert found.at("matches", 0, 1) == compared(wanting(drawer=DRAWER, wish=WISH)).at("matches", 0, 1)
    assert found.at("match_finding", 0) != ""


def test_a_new_comparison_has_no_error_cell() -> None:
    workbook, _ = build_comparison()
    result = recalculate(finished(workbook), FILE)
    assert [str(finding) for finding in (*result.findings, *result.errors())] == []


def test_every_field_has_its_name_on_its_cells() -> None:
    workbook, places = build_comparison()
    for name, declared in field_names(KIND).items():
        assert workbook.defined_names[name].attr_text == places[name].address, name
        assert places[name].sheet == declared.sheet


def test_names_are_chosen_from_the_libraries() -> None:
    workbook, places = build_comparison()
    rules = {
        str(rule.sqref): rule.formula1
        for rule in workbook["Comparison"].data_validations.dataValidation
        if rule.type == "list"
    }
    for column, source in (("stack", "stack_names"), ("valve", "valve_names"), ("oil", "oils.name")):
        cells_of_column = places[f"variants.{column}"].address.rpartition("!")[2].replace("$", "")
        assert rules[cells_of_column] == places[source].address


def test_only_inputs_are_unlocked() -> None:
    workbook, places = build_comparison()
    locked = _locked(workbook, places["forces"]), _locked(workbook, places["bands"])
    assert locked == (True, True)
    for name in ("baseline", "velocities", "stack_1", "label_8", "oils", "valve_label_3"):
        assert not _locked(workbook, places[name]), name
    assert all(sheet.protection.sheet and not sheet.protection.password for sheet in workbook.worksheets)


def _locked(workbook: Workbook, place: Place) -> bool:
    return bool(workbook[place.sheet].cell(place.top, place.left).protection.locked)
