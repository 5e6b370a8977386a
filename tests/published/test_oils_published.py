"""Oil against the outside.

Cases and tables with their sources and tolerances: data/oil_cases.json. Among them the worked examples
of ASTM D2270, printed examples of ASTM D341, ASTM D2161 (Saybolt), ISO 3448, SAE J300 and J306, AGMA
numbers, and blending numbers. The coefficients of ASTM D2270 table X2.1 are an independent check of every
line of table 1. The MIT-licensed package "chemicals" is the oracle for the viscosity index and the scales.
Facts of the trade are marked "common practice, no source".
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from chemicals.viscosity import viscosity_converter
from chemicals.viscosity import viscosity_index as oracle_index

from dampcell.functions import blends, grades, oils, scales
from dampcell.functions.data import read_table
from dampcell.functions.errors import ValidityError
from dampcell.functions.units import convert

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "oil_cases.json").read_text(encoding="utf-8")
)
TABLES = DATA["tables"]


def cases(*functions: str) -> pytest.MarkDecorator:
    chosen = [case for case in DATA["cases"] if case["fn"] in functions]
    assert chosen, functions
    return pytest.mark.parametrize("case", chosen, ids=lambda case: str(case["id"]))


def within(case: dict[str, Any], wanted: float) -> Any:
    return pytest.approx(wanted, rel=case["rel_tol"] or 0.0, abs=case["abs_tol"] or 0.0)


@cases("viscosity_index")
def test_viscosity_index_as_printed(case: dict[str, Any]) -> None:
    at_40, at_100 = case["inputs"]["cst40"], case["inputs"]["cst100"]
    expected = case["expected"]
    if "error" in expected:
        with pytest.raises(ValidityError, match="not defined below 2"):
            grades.viscosity_index(at_40, at_100)
        return
    index = grades.viscosity_index(at_40, at_100)
    assert grades.whole_index(index) == expected["vi"]
    if "vi_unrounded" in expected:
        assert index == within(case, expected["vi_unrounded"])
    low, high = grades.index_limits(at_100)
    assert low == pytest.approx(expected.get("L", low), abs=0.005)
    assert high == pytest.approx(expected.get("H", high), abs=0.0051)  # 28.975 is printed as 28.97


@cases("viscosity_index_round")
def test_index_is_rounded_half_to_even(case: dict[str, Any]) -> None:
    assert grades.whole_index(case["inputs"]["vi_unrounded"]) == case["expected"]["vi"]


@cases("cst_at")
def test_viscosity_at_a_temperature_as_printed(case: dict[str, Any]) -> None:
    given = case["inputs"]
    found = oils.fitted_viscosity(
        given["t1"], given["cst1"], given["t2"], viscosity_2=given["cst2"], temperature=given["t"]
    )
    assert found == within(case, case["expected"]["cst"])


@cases("sus_from_cst")
def test_saybolt_universal_as_printed(case: dict[str, Any]) -> None:
    given = case["inputs"]
    found = scales.saybolt_universal_seconds(given["cst"], convert(given["tF"], "F", "C"))
    assert found == within(case, case["expected"]["sus"])


@cases("sus_from_cst_loose")
def test_saybolt_bands_of_the_iso_classes(case: dict[str, Any]) -> None:
    given, expected = case["inputs"], case["expected"]
    for end in ("lo", "hi"):
        found = scales.saybolt_universal_seconds(given[f"cst_{end}"], 40.0)
        assert found == within(case, expected[f"sus_{end}"])


@cases("from_cst")
def test_furol_is_refused_below_its_range(case: dict[str, Any]) -> None:
    with pytest.raises(ValidityError, match="Furol seconds are not defined for an oil so thin"):
        scales.convert_viscosity(case["inputs"]["cst"], "cSt", "SFS")


@cases("cst_from_engler")
def test_engler_as_printed(case: dict[str, Any]) -> None:
    found = scales.convert_viscosity(case["inputs"]["engler"], "°E", "cSt").value
    assert found == within(case, case["expected"]["cst"])


@cases("vbn")
def test_blending_numbers_as_printed(case: dict[str, Any]) -> None:
    assert blends.blending_number(case["inputs"]["cst"]) == within(case, case["expected"]["vbn"])


def test_every_line_of_the_index_table_fits_the_coefficients_of_the_standard() -> None:
    # ASTM D2270 table X2.1 reproduces table 1 within 0.12 % (its note in oil_cases.json), so a slip shows.
    for row in read_table("viscosity_index"):
        y, low, high = float(row["viscosity_100"]), float(row["l"]), float(row["h"])
        a, b, c, d, e, f = next(line[2:] for line in TABLES["d2270_X2_1"]["rows"] if y <= (line[1] or 1e9))
        assert low == pytest.approx(a * y * y + b * y + c, rel=0.0012)
        assert high == pytest.approx(d * y * y + e * y + f, rel=0.0012)


def test_index_table_is_complete_and_rises() -> None:
    known = [float(row["viscosity_100"]) for row in read_table("viscosity_index")]
    assert (known[0], known[-1]) == (2.0, 70.0)
    # Steps of the printed table: 0.1 up to 20, 0.2 up to 30, 0.5 up to 70.
    wanted = [2.0 + 0.1 * i for i in range(181)] + [20.0 + 0.2 * i for i in range(1, 51)]
    wanted += [30.0 + 0.5 * i for i in range(1, 81)]
    assert known == pytest.approx(wanted)
    for name in ("l", "h"):
        column = [float(row[name]) for row in read_table("viscosity_index")]
        assert column == sorted(column)


@pytest.mark.parametrize("at_100", [2.0, 2.34, 5.05, 8.86, 19.95, 27.3, 69.9, 70.5, 120.0])
@pytest.mark.parametrize("ratio", [1.3, 2.5, 5.0, 12.0, 40.0])
def test_index_equals_the_oracle(at_100: float, ratio: float) -> None:
    found = grades.viscosity_index(at_100 * ratio, at_100)
    # Not at 70 itself: the standard takes the table up to and including it, the oracle the formulas.
    assert found == pytest.approx(oracle_index(at_100 * ratio * 1e-6, at_100 * 1e-6), rel=1e-9)


@pytest.mark.parametrize("viscosity", [2.0, 5.0, 14.0, 46.0, 220.0, 1000.0])
def test_saybolt_universal_equals_the_oracle(viscosity: float) -> None:
    wanted = viscosity_converter(viscosity * 1e-6, "kinematic viscosity", "saybolt universal")
    assert scales.saybolt_universal_seconds(viscosity, convert(100.0, "F", "C")) == pytest.approx(
        wanted, rel=1e-9
    )


@pytest.mark.parametrize(
    ("scale", "function", "least", "tolerance"),
    [
        # The oracle draws splines through the same table.
        ("engler", scales.engler_degrees, 1.1, 0.012),
        # Table of the Hydraulic Institute against the formula in common use: they differ by up to 6 %. The
        # table's line for 220 mm²/s is out of step with its neighbours and is left out.
        ("redwood standard", scales.redwood_seconds, 4.5, 0.06),
    ],
)
def test_old_scales_agree_with_the_oracle(scale: str, function: Any, least: float, tolerance: float) -> None:
    for viscosity in (least, 5.2, 8.0, 14.0, 32.1, 65.0, 110.0, 154.0, 440.0, 880.0, 1500.0):
        wanted = viscosity_converter(viscosity * 1e-6, "kinematic viscosity", scale)
        assert function(viscosity) == pytest.approx(wanted, rel=tolerance)


@pytest.mark.parametrize("viscosity", [60.0, 110.0, 440.0, 1000.0])
def test_furol_agrees_with_the_oracle(viscosity: float) -> None:
    # The oracle's table is that of the Hydraulic Institute, rounded and up to 4 % off the equation.
    wanted = viscosity_converter(viscosity * 1e-6, "kinematic viscosity", "saybolt furol")
    assert scales.saybolt_furol_seconds(viscosity, 50.0) == pytest.approx(wanted, rel=0.04)


@pytest.mark.parametrize(("least", "celsius"), [(48.0, 50.0), (50.0, 98.9)])
def test_both_furol_equations_give_25_seconds_at_the_least_viscosity(least: float, celsius: float) -> None:
    # ASTM D2161, 6.1, gives these least viscosities; 25 s is the least time of ASTM D88 (from memory).
    assert scales.saybolt_furol_seconds(least, celsius) == pytest.approx(25.15, abs=0.1)


@pytest.mark.parametrize("row", TABLES["iso3448"]["rows"], ids=lambda row: f"VG{row[0]}")
def test_iso_classes_as_printed(row: list[float]) -> None:
    vg, middle, low, high = row
    for viscosity in (low, middle, high):
        found = grades.iso_class(viscosity)
        assert (found.vg, found.low, found.high, found.inside) == (vg, low, high, True)


@pytest.mark.parametrize(
    ("table", "standard"), [("sae_j300", "J300"), ("sae_j306", "J306")], ids=["J300", "J306"]
)
def test_sae_grades_as_printed(table: str, standard: Any) -> None:
    bands: dict[str, list[float | None]] = TABLES[table]["kv100_band_min_incl_max_excl"]
    edges = {edge for band in bands.values() for edge in band if edge}
    for viscosity in [*edges, *(edge * 0.999 for edge in edges), *(edge * 1.001 for edge in edges)]:
        wanted = [
            grade
            for grade, (low, high) in bands.items()
            if low is not None and low <= viscosity < (high or 1e9)
        ]
        assert [band.name for band in grades.sae_grades(viscosity, standard)] == wanted


def test_agma_numbers_as_printed() -> None:
    for number, vg in TABLES["agma"]["map"].items():
        middle = next(row[1] for row in TABLES["iso3448"]["rows"] if row[0] == vg)
        assert number in grades.agma_numbers(middle)


def test_an_oil_of_870_grows_by_3_8_percent_from_20_to_70_degrees() -> None:
    # By hand after API MPMS 11.1, table 54D: α = 0.6278/870 = 7.2161e-4. 20 °C: αΔt = 0.0036080, exponent
    # 0.0036185, factor 0.996388; 70 °C: αΔt = 0.0396885, exponent 0.0409486, factor 0.959878; ratio 1.03803.
    assert oils.density(870.0, 20.0) / oils.density(870.0, 70.0) == pytest.approx(1.03803, abs=1e-5)
    assert oils.density(870.0, 70.0) == pytest.approx(870.0 * 0.959878, rel=2e-6)


def test_oil_sold_as_2_5_weight_is_about_14() -> None:
    # Common practice, no source.
    found = grades.label_range("2.5 weight")
    assert found.low <= 14.0 <= found.high
    assert found.middle == pytest.approx(14.0, abs=1.0)


def test_two_bottles_of_the_same_weight_can_differ() -> None:
    # Common practice, no source: behind all labels but the thick ones, half as thick again or more.
    for label in ("2.5", "5", "7.5", "10"):
        found = grades.label_range(label)
        assert found.high / found.low > 1.5
    # ... and labels overlap: a thick "5" is thicker than a thin "7.5".
    assert grades.label_range("5").high > grades.label_range("7.5").low
