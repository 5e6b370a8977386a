"""Units and numbers as people write them.

The UNIT and PARSE cases, each with its source, are in published/data/oil_cases.json.
"""

from __future__ import annotations

import datetime
import json
import math
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions import units
from dampcell.functions.data import read_table
from dampcell.functions.errors import InputError
from dampcell.functions.units import Quantity, convert, number_in, parse_quantity, shown_unit

CASES: list[dict[str, Any]] = json.loads(
    (Path(__file__).parent / "published" / "data" / "oil_cases.json").read_text(encoding="utf-8")
)["cases"]
UNIT = [case for case in CASES if case["id"].startswith("UNIT")]
PARSE = [case for case in CASES if case["id"].startswith("PARSE")]

finite = st.floats(min_value=-1e9, max_value=1e9, allow_nan=False).filter(
    lambda x: x == 0.0 or abs(x) > 1e-200
)
SAME_DIMENSION = [
    ("mm", "in", "um", "cm", "m", "thou"),
    ("bar", "psi", "kPa", "MPa", "kgf/cm2", "atm", "mbar"),
    ("ml", "l", "in3", "US_floz", "imp_floz", "mm3"),
    ("N", "lbf", "kgf", "kN"),
    ("cSt", "m2/s", "St", "in2/s"),
    ("cP", "Pa*s", "reyn", "P"),
    ("N*m", "in*lbf", "ft*lbf", "kgf*cm"),
    ("C", "F", "K"),
    ("kg/m3", "g/cm3", "lb/ft3"),
]


@pytest.mark.parametrize("case", UNIT, ids=lambda case: str(case["id"]))
def test_factors_and_temperatures_are_exact(case: dict[str, Any]) -> None:
    given_, expected = case["inputs"], case["expected"]
    wanted = expected.get("factor", expected.get("value"))
    found = convert(given_.get("value", 1.0), given_["from"], given_["to"])
    assert found == pytest.approx(wanted, rel=case["rel_tol"], abs=case["abs_tol"] or 0.0)


@pytest.mark.parametrize("case", PARSE, ids=lambda case: str(case["id"]))
def test_text_is_read_as_a_shop_user_means_it_or_refused(case: dict[str, Any]) -> None:
    expected = case["expected"]
    if "error" in expected:
        with pytest.raises(InputError):
            parse_quantity(case["inputs"]["text"])
    else:
        assert parse_quantity(case["inputs"]["text"]) == Quantity(expected["value"], expected["unit"])


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("0.15", "mm", 0.15),
        ("0,15", "mm", 0.15),
        (" 0.15 mm ", "mm", 0.15),
        ("0.15\u00a0mm", "mm", 0.15),
        (".15 mm", "mm", 0.15),
        ("0,150 mm", "mm", 0.15),
        ("1.000 mm", "mm", 1.0),
        ("150 µm", "mm", 0.15),
        ("150 μm", "mm", 0.15),
        ("1.5e-1 mm", "mm", 0.15),
        ("1,5E−1 mm", "mm", 0.15),
        ("−3 mm", "mm", -3.0),
        ("–3 mm", "mm", -3.0),
        ("+3 mm", "mm", 3.0),
        ("0.006 in", "mm", 0.1524),
        ('0.006"', "mm", 0.1524),
        ("1 in.", "mm", 25.4),
        ("14cst", "mm²/s", 14.0),
        ("14 mm2 / s", "mm²/s", 14.0),
        ("12 cps", "mPa·s", 12.0),
        ("12 mPa.s", "mPa·s", 12.0),
        ("12 mPa s", "mPa·s", 12.0),
        ("0.87 g/cm³", "kg/m³", 870.0),
        ("5 N·m", "N·m", 5.0),
        ("5 N m", "N·m", 5.0),
        ("5 NM", "N·m", 5.0),
        ("20 °C", "°C", 20.0),
        ("20 ℃", "°C", 20.0),
        ("20ºC", "°C", 20.0),
        ("20 ° C", "°C", 20.0),
        ("68 F", "°C", 20.0),
        ("293.15 K", "°C", 20.0),
        ("35 cc", "ml", 35.0),
        ("1 US fl. oz", "ml", 29.5735295625),
        ("10 MPA", "MPa", 10.0),
        ("10 mpa", "MPa", 10.0),
        ("10 MPa", "bar", 100.0),
        ("3 %", "-", 0.03),
        ("0.3", "-", 0.3),
        ("30°", "deg", 30.0),
        ("1e-5 1/K", "1/K", 1e-5),
        ("90 min", "h", 1.5),
        ("1500 g", "kg", 1.5),
    ],
)
def test_workshop_spelling_is_understood(text: str, unit: str, expected: float) -> None:
    assert number_in(text, unit, parameter="p") == pytest.approx(expected, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "unit", "sentence"),
    [
        ("14 cSt", "mm", 'p: mm²/s cannot be converted to mm (found "14 cSt"); allowed: a number in mm.'),
        ("0.15 mm", "mm²/s", "mm cannot be converted to mm²/s"),
        ("0.15 mm", "-", "mm cannot be converted to a plain number"),
        ("30°", "-", "° cannot be converted to a plain number"),
        ("40°", "°C", "° alone is an angle: write °C or °F"),
        ("5 kg", "N", "kg, g and lb are masses; a force is in N, kgf or lbf"),
        ("12 cP", "mm²/s", "kinematic and dynamic viscosity differ by the density"),
        ("1/16 in", "mm", "is a fraction: write it as a decimal"),
        ("1 1/2 in", "mm", "is a fraction: write it as a decimal"),
        ("1½ in", "mm", "is a fraction: write it as a decimal"),
        ("1,000 psi", "bar", "could mean 1000 or 1.000: write it without a comma"),
        ("1.000,5 bar", "bar", "has separators within the number"),
        ("1 000 psi", "bar", "has separators within the number"),
        ("5-10 mm", "mm", "is a range: give one number"),
        ("5 – 10 mm", "mm", "is a range: give one number"),
        ("5 to 10 mm", "mm", "is a range: give one number"),
        ("5..10 mm", "mm", "is a range: give one number"),
        ("nan", "mm", "is not a number"),
        ("inf mm", "mm", "is not a number"),
        ("±0.01 mm", "mm", "is not a number"),
        ("mm", "mm", "is not a number"),
        ("−−3 mm", "mm", "is not a number"),
        ("½ in", "mm", "is not a number"),
        ("１ mm", "mm", "is not a number"),
        ("1e400 mm", "mm", "is too large or too small a number"),
        ("1e-400 mm", "mm", "is too large or too small a number"),
        ("9**9**9 mm", "mm", "unknown unit"),
        ("5² mm", "mm", "unknown unit"),
        ("5 mm mm", "mm", "unknown unit"),
        ("2.5 bra", "bar", 'unknown unit: did you mean "bar"? (found "2.5 bra")'),
        ("10 mN", "N", "unknown unit"),
        ("10 wt", "mm²/s", "a weight is no viscosity and no standard"),
        ("10W", "mm²/s", "a weight is no viscosity and no standard"),
        ("5W-40", "mm²/s", "a weight is no viscosity and no standard"),
        ("SAE 10", "mm²/s", "a weight is no viscosity and no standard"),
        ("2 barg", "bar", "gauge and absolute pressure are two arguments, not two units"),
        ("30 psia", "bar", "gauge and absolute pressure are two arguments, not two units"),
        ("2 fl oz", "ml", "US and imperial fluid ounces differ"),
        ("2 oz", "ml", "an ounce can be a mass or a volume"),
        ("1 gal", "l", "US and imperial gallons differ"),
        ("20 °C", "K", "is a temperature difference: write it in K"),
        ("", "mm", "is blank"),
        ("1" * 70, "mm", "is too long for a number with a unit"),
    ],
)
def test_doubtful_text_is_refused_with_a_sentence(text: str, unit: str, sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        number_in(text, unit, parameter="p")
    assert sentence in str(caught.value)
    assert str(caught.value).startswith("p: ")


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        (math.nan, "is not a finite number"),
        (math.inf, "is not a finite number"),
        (-math.inf, "is not a finite number"),
        (np.float64("nan"), "is not a finite number"),
        (10**400, "is not a finite number"),
        (True, "is true or false, not a number"),
        (np.bool_(True), "is true or false, not a number"),
        (None, "is not a number"),
        ([1.0], "is not a number"),
        (1j, "is not a number"),
        (datetime.datetime(2026, 1, 16), "is a date or time"),
        (datetime.time(1, 16), "is a date or time"),
    ],
)
def test_values_that_are_no_numbers_are_refused(value: object, sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        number_in(value, "mm", parameter="thickness")
    assert sentence in str(caught.value)
    assert "thickness" in str(caught.value)


@pytest.mark.parametrize("value", [3, 3.0, np.float64(3), np.int64(3), Fraction(3), "3", "3 mm"])
def test_any_kind_of_number_is_taken_in_the_stated_unit(value: object) -> None:
    found = number_in(value, "mm", parameter="p")
    assert found == 3.0
    assert type(found) is float


def test_a_decimal_is_no_cell_value() -> None:
    with pytest.raises(InputError, match="is not a number"):
        number_in(Decimal(3), "mm", parameter="p")


def test_unknown_unit_in_a_conversion_suggests_the_nearest() -> None:
    with pytest.raises(InputError, match='did you mean "psi"'):
        convert(1.0, "pis", "bar")


@pytest.mark.parametrize(
    ("unit", "shown"),
    [("cSt", "mm²/s"), ("cP", "mPa·s"), ("C", "°C"), ("kg/m3", "kg/m³"), ("N*m", "N·m"), ("-", ""), ("", "")],
)
def test_units_are_shown_as_people_read_them(unit: str, shown: str) -> None:
    assert shown_unit(unit) == shown


@given(value=finite, units=st.sampled_from(SAME_DIMENSION), data=st.data())
def test_conversion_round_trips(value: float, units: tuple[str, ...], data: st.DataObject) -> None:
    one, other = data.draw(st.sampled_from(units)), data.draw(st.sampled_from(units))
    back = convert(convert(value, one, other), other, one)
    assert back == pytest.approx(value, rel=1e-12, abs=1e-9 if "C" in units else 0.0)


@given(value=finite, units=st.sampled_from(SAME_DIMENSION), data=st.data())
def test_the_way_between_two_units_does_not_matter(
    value: float, units: tuple[str, ...], data: st.DataObject
) -> None:
    one, via, other = (data.draw(st.sampled_from(units)) for _ in range(3))
    indirect = convert(convert(value, one, via), via, other)
    assert indirect == pytest.approx(convert(value, one, other), rel=1e-12, abs=1e-9 if "C" in units else 0.0)


@given(
    value=st.floats(min_value=-1e15, max_value=1e15, allow_nan=False), unit=st.sampled_from(["mm", "°C", "-"])
)
def test_a_written_number_is_read_back_to_the_last_digit(value: float, unit: str) -> None:
    if value == 0.0 or abs(value) > 1e-300:
        assert number_in(f"{value!r}", unit, parameter="p") == value
        assert number_in(value, unit, parameter="p") == value


@given(st.text(max_size=40))
def test_no_text_gives_anything_but_a_finite_number_or_a_sentence(text: str) -> None:
    try:
        found = number_in(text, "mm", parameter="p")
    except InputError as error:
        sentence = str(error)
    else:
        sentence = f"p: {found}" if math.isfinite(found) else ""
    assert sentence.startswith("p: ")


@given(
    number=st.from_regex(r"[+-]?[0-9]{1,4}([.,][0-9]{1,4})?", fullmatch=True),
    tail=st.text(alphabet="0123456789.,-+/*e ²½°CFmnsk", max_size=8),
)
def test_no_tail_changes_the_number_before_it(number: str, tail: str) -> None:
    try:
        found = parse_quantity(f"{number} {tail}")
    except InputError:
        return
    assert found.value == float(number.replace(",", "."))


def test_threads_may_convert_at_the_same_time() -> None:
    pairs = [(a, b) for units in SAME_DIMENSION for a in units for b in units]
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda pair: convert(2.0, *pair), pairs * 4))
    assert found == [convert(2.0, *pair) for pair in pairs * 4]


def test_every_unit_of_the_nomenclature_is_understood_as_it_is_spelled() -> None:
    for row in read_table("nomenclature"):
        unit = row["unit"]
        assert number_in(f"1 {unit}" if unit != "-" else "1", unit, parameter=row["name"]) == 1.0
        assert shown_unit(unit) == ("" if unit == "-" else unit), row["name"]


def test_every_unit_has_the_size_that_pints_own_definitions_give_it() -> None:
    oracle: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)
    for name, (expression, _) in units._UNITS.items():
        ours = units._REGISTRY.parse_units(expression)
        theirs = oracle.parse_units(expression)
        assert dict(units._REGISTRY.get_dimensionality(ours)) == dict(oracle.get_dimensionality(theirs)), name
        if name not in ("C", "F"):
            # Our base of mass is the gram, pint's is the kilogram.
            own = units._REGISTRY.get_base_units(ours)[0]
            mass = oracle.get_dimensionality(theirs).get("[mass]", 0)
            other = Fraction(str(oracle.get_base_units(theirs)[0]))
            assert own == other * Fraction(1000) ** int(str(mass)), name
