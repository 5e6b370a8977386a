"""The oil functions as cells see them: blanks, texts with units, notes, error values and ranges."""

from __future__ import annotations

import pytest

import dampcell.functions.cells.oil_names
import dampcell.functions.cells.oils  # noqa: F401 - importing declares the functions
from dampcell.functions.registry import REGISTRY, CellError, evaluate

OIL = [function for function in REGISTRY.values() if function.family == "Oil"]


@pytest.mark.parametrize("function", OIL, ids=lambda function: str(function.name))
def test_every_oil_function_has_help_source_and_a_working_example(function: object) -> None:
    found = REGISTRY[getattr(function, "name")]  # noqa: B009 - typed as object for the ids
    assert found.summary
    assert found.source
    assert found.example_call
    assert all(argument.help for argument in found.arguments)
    assert found.call(found.example_call).first_error() is None


def test_the_unit_of_an_argument_may_be_written_with_it() -> None:
    plain = evaluate("OIL_VISCOSITY", [14, 4, 20]).value
    assert evaluate("OIL_VISCOSITY", ["14 cSt", "4 mm²/s", "68 °F"]).value == pytest.approx(plain, rel=1e-12)
    assert evaluate("OIL_VISCOSITY", ["14,0", "0.04 St", "20 C"]).value == pytest.approx(plain, rel=1e-12)


def test_a_blank_temperature_is_not_taken_for_0_degrees() -> None:
    for blank in (0.0, None, ""):
        value = evaluate("OIL_VISCOSITY", [14, 4, blank]).value
        assert isinstance(value, CellError)
        assert value.message.startswith("temperature: is ")


def test_0_degrees_is_understood_as_text_and_within_a_range() -> None:
    text = evaluate("OIL_VISCOSITY", [14, 4, "0 °C"]).value
    assert evaluate("OIL_VISCOSITY", [14, 4, [[0, 40]]]).value == [[text, pytest.approx(14.0)]]


def test_a_cold_oil_carries_a_note() -> None:
    outcome = evaluate("OIL_VISCOSITY", [14, 4, -20])
    assert "extrapolated" in outcome.notes[0]
    assert evaluate("OIL_FIT", [40, 14, 100, 4, -20]).notes == outcome.notes
    assert evaluate("OIL_VISCOSITY", [14, 4, 40]).notes == ()


@pytest.mark.parametrize(
    ("name", "arguments", "code", "sentence"),
    [
        ("OIL_VISCOSITY", [4, 14, 20], "#VALUE!", "are the two swapped"),
        ("OIL_VISCOSITY", [14, 4, 250], "#N/A", "makes no sense"),
        ("OIL_VISCOSITY", ["10 wt", 4, 20], "#VALUE!", "a weight is no viscosity"),
        ("OIL_VISCOSITY", ["0.15 mm", 4, 20], "#VALUE!", "mm cannot be converted to mm²/s"),
        ("OIL_INDEX", [3.0, 1.5], "#N/A", "not defined below 2"),
        ("OIL_GRADE", [1.0], "#N/A", "outside the ISO viscosity classes"),
        ("OIL_CONVERT", [15, "cSt", "SFS"], "#N/A", "Furol seconds are not defined"),
        ("OIL_CONVERT", [15, "cSt", "cP"], "#VALUE!", "density: is needed"),
        ("OIL_CONVERT", [15, "cSt", "cP", 0, 0], "#VALUE!", "density: is needed"),
        ("OIL_MIX", [[[10, 50], [40, None]]], "#VALUE!", "mix row 2: volume is missing"),
        ("OIL_MIX", [[[None, 50], [40, 1]]], "#VALUE!", "mix row 1: viscosity is missing"),
        ("OIL_MIX_RATIO", [10, 40, 50], "#NUM!", "no blend of the two oils"),
        ("OIL_FIT", [40, 68, 40, 14, 100], "#VALUE!", "must be at different temperatures"),
        ("OIL_DENSITY", [0.87, 40], "#N/A", "written in kg/m³"),
        ("OIL_LABEL", ["12"], "#VALUE!", "a weight is no standard"),
    ],
)
def test_a_cell_shows_its_error_value_and_sentence(
    name: str, arguments: list[object], code: str, sentence: str
) -> None:
    value = evaluate(name, arguments).value
    assert isinstance(value, CellError)
    assert value.code == code
    assert sentence in value.message


def test_the_grade_says_inside_or_outside() -> None:
    assert evaluate("OIL_GRADE", [14]).value == "ISO VG 15, in its band of 13.5 to 16.5 mm²/s"
    gap = "no ISO VG class; nearest is ISO VG 22, 0.1 mm²/s below its band of 19.8 to 24.2 mm²/s"
    assert evaluate("OIL_GRADE", [19.7]).value == gap


def test_grades_say_when_there_is_none() -> None:
    assert evaluate("OIL_ENGINE_GRADE", [3]).value == "no SAE J300 grade"
    assert evaluate("OIL_GEAR_GRADE", [3]).value == "no SAE J306 grade"
    assert evaluate("OIL_AGMA_NUMBER", [60]).value == "no AGMA number"


def test_an_index_is_whole_and_a_rare_one_is_noted() -> None:
    assert evaluate("OIL_INDEX", [22.83, 5.05]).value == 156.0
    assert evaluate("OIL_INDEX", [15, 5.5]).notes == ()
    assert "outside 0 to 400 is rare" in evaluate("OIL_INDEX", [10, 5.5]).notes[0]
    assert "outside 0 to 400 is rare" in evaluate("OIL_INDEX", [400, 8]).notes[0]


def test_a_label_says_that_it_is_no_standard() -> None:
    for label in (2.5, "2.5 wt", "2,5"):
        outcome = evaluate("OIL_LABEL", [label])
        assert outcome.value == [[7.0, 14.0, 16.0]]
        assert "no standard" in outcome.notes[0]
    assert evaluate("OIL_LABEL", [10.0]).value == evaluate("OIL_LABEL", ["10W"]).value


def test_a_blend_warns_and_skips_blank_rows() -> None:
    outcome = evaluate("OIL_MIX", [[["viscosity", "volume"], [10, 50], [None, None], ["40 cSt", "0.05 l"]]])
    assert outcome.value == pytest.approx(18.673, abs=0.001)  # by hand, see test_oils
    assert "index improvers" in outcome.notes[0]
    share = evaluate("OIL_MIX_RATIO", [10, 40, outcome.value])
    assert share.value == pytest.approx(0.5, abs=1e-9)
    assert share.notes == outcome.notes
