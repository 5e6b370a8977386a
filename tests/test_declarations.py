"""What every declared cell function must say and bear: units, help, source, example, odd arguments."""

from __future__ import annotations

import inspect
import math
import re
import subprocess
import sys

import docstring_parser
import pytest

import dampcell.functions
import dampcell.functions.cells
from dampcell.functions.errors import InputError
from dampcell.functions.registry import NAMESPACE, REGISTRY, CellError, CellFunction, evaluate
from dampcell.functions.units import shown_unit

ALL = sorted(REGISTRY)
BROKEN = CellError("#REF!", "mend B2.")
ODD: tuple[object, ...] = (
    None,
    "",
    0,
    -1.0,
    1e-300,
    1e300,
    "nonsense",
    "14 cSt",
    True,
    math.nan,
    [[]],
    BROKEN,
)

_ENDS_WITH_UNIT = re.compile(r"\[([^\]]+)\]\.?$")


def _is_unit(text: str) -> bool:
    try:
        shown_unit(text)
    except InputError:
        return False
    return True


def _parsed(function: CellFunction) -> docstring_parser.Docstring:
    return docstring_parser.parse(
        inspect.getdoc(function.body) or "", docstring_parser.DocstringStyle.NUMPYDOC
    )


@pytest.mark.parametrize("name", ALL)
def test_every_argument_is_documented_with_its_unit(name: str) -> None:
    function = REGISTRY[name]
    documented = {p.arg_name.lstrip("*"): p.description or "" for p in _parsed(function).params}
    assert list(documented) == [argument.name for argument in function.arguments]
    for argument in function.arguments:
        text = documented[argument.name]
        units = re.findall(r"\[([^\]]+)\]", text)
        assert units, f"{argument.name} names no unit"
        if argument.kind == "table" or argument.variadic:
            assert any(map(_is_unit, units)), argument.name
            continue
        last = _ENDS_WITH_UNIT.search(text)
        assert last is not None, f"{argument.name} does not end with its unit"
        assert _is_unit(last[1]), f"{argument.name} ends with {last[1]}"
        if argument.kind in ("number", "numbers"):
            assert shown_unit(last[1]) == shown_unit(argument.unit), argument.name


@pytest.mark.parametrize("name", ALL)
def test_every_result_is_documented_with_its_unit(name: str) -> None:
    function = REGISTRY[name]
    returns = _parsed(function).returns
    assert returns is not None
    text = " ".join((returns.description or "").split())
    units = re.findall(r"\[([^\]]+)\]", text)
    assert units
    assert all(map(_is_unit, units))
    if function.spills:
        wanted = {shown_unit(unit or "-") for _, unit in function.result_columns}
        assert wanted <= {shown_unit(unit) for unit in units} | {""}
        return
    assert _ENDS_WITH_UNIT.search(text) is not None
    if function.result_unit:
        assert shown_unit(units[-1]) == shown_unit(function.result_unit)


@pytest.mark.parametrize("name", ALL)
def test_every_function_says_summary_help_source_and_example(name: str) -> None:
    function = REGISTRY[name]
    assert function.summary
    assert function.description
    assert function.source
    assert function.family
    assert function.result
    assert all(argument.help for argument in function.arguments)
    assert len(function.example_call) >= max(function.minimum_arguments, 1)
    assert function.example.startswith(f"={NAMESPACE}.{name}(")
    assert re.fullmatch(r"[A-Z][A-Z0-9_]{2,59}", name)


@pytest.mark.parametrize("name", ALL)
def test_every_example_evaluates_and_spills_only_where_declared(name: str) -> None:
    function = REGISTRY[name]
    outcome = evaluate(name, function.example_call)
    assert outcome.first_error() is None
    assert isinstance(outcome.value, list) == function.spills
    if function.spills:
        assert isinstance(outcome.value, list)
        assert {len(row) for row in outcome.value} == {len(function.result_columns)}


@pytest.mark.parametrize("name", ALL)
def test_optional_arguments_come_last_and_blank_ones_change_nothing(name: str) -> None:
    function = REGISTRY[name]
    required = [argument.required for argument in function.arguments if not argument.variadic]
    assert required == sorted(required, reverse=True)
    blank = [None] * (len(required) - len(function.example_call))
    assert evaluate(name, [*function.example_call, *blank]) == evaluate(name, function.example_call)


@pytest.mark.parametrize("name", ALL)
def test_a_blank_that_arrives_as_zero_means_the_same_as_a_blank_left_out(name: str) -> None:
    """What one spreadsheet hands over as nothing, another hands over as 0."""
    function = REGISTRY[name]
    for index, argument in enumerate(function.arguments):
        if argument.required or argument.variadic:
            continue
        if not argument.zero_is_blank and argument.kind in ("number", "numbers"):
            continue
        given_values = [*function.example_call, *[None] * len(function.arguments)][: len(function.arguments)]
        given_values[index] = None
        left_out = evaluate(name, given_values)
        given_values[index] = 0.0
        assert evaluate(name, given_values) == left_out, argument.name


@pytest.mark.parametrize("name", ALL)
def test_no_argument_makes_a_function_fail_other_than_with_a_sentence(name: str) -> None:
    function = REGISTRY[name]
    for index in range(len(function.example_call)):
        for odd in ODD:
            given_values = list(function.example_call)
            given_values[index] = odd
            error = evaluate(name, given_values).first_error()
            assert error is None or error.message


def test_the_package_shows_the_registry_and_the_errors() -> None:
    assert dampcell.functions.REGISTRY is REGISTRY
    assert dampcell.functions.evaluate is evaluate
    assert dampcell.functions.InputError is InputError
    assert all(hasattr(dampcell.functions, name) for name in dampcell.functions.__all__)


def test_the_package_alone_knows_all_functions() -> None:
    code = "from dampcell.functions import evaluate; print(evaluate('AIR_GAP_VOLUME', [40, 120]).value)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    # π/4 · 40² · 120 = 150 796.4 mm³
    assert float(run.stdout) == pytest.approx(150.7964, abs=1e-4)


def test_families_stand_in_the_order_of_help() -> None:
    families = list(dict.fromkeys(function.family for function in REGISTRY.values()))
    ordered = ["Plate", "Stack", "Oil", "Fill", "Workshop", "Ledger"]
    assert [family for family in families if family in ordered] == ordered
