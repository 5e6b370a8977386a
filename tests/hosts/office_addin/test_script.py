"""The add-in's real script, run in Node in Excel's place against the real server over https."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.hosts.excel_in_node import Run, matrix

from dampcell import __version__
from dampcell.functions.registry import REGISTRY, CellError, evaluate

pytestmark = pytest.mark.real_program

OIL = [[404.0]], [[28.0]], [[60.0]]


def expected(name: str, arguments: list[object]) -> dict[str, object]:
    """Say what a cell has to get, from the registry itself."""
    value = evaluate(name, arguments).value
    if isinstance(value, CellError):
        return {"code": value.code, "message": value.message if value.code in ("#VALUE!", "#N/A") else None}
    rows = value if isinstance(value, list) else [[value]]
    return {
        "value": [
            [
                {"code": c.code, "message": c.message if c.code in ("#VALUE!", "#N/A") else None}
                if isinstance(c, CellError)
                else c
                for c in row
            ]
            for row in rows
        ]
    }


def test_every_function_is_made_known_to_excel(excel: Run) -> None:
    assert excel([])["associated"] == list(REGISTRY)


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("PLATE_STIFFNESS", [30.0, 12.0, [[0.1, 0.15], [0.2, 0.25]], 26.0]),
        ("PLATE_STIFFNESS", [30.0, 12.0, [[0.1], [-1.0], [""], ["0,2 mm"], ["14 cSt"]], 26.0]),
        ("PLATE_STIFFNESS", [[[30.0], [31.0]], 12.0, [[0.1, 0.2, 0.3]], 26.0]),
        ("PLATE_STIFFNESS", [[[30.0, 31.0]], 12.0, [[0.1, 0.2, 0.3]], 26.0]),
        ("PLATE_STIFFNESS", [30.0, 12.0, 0.0, 26.0]),
        ("PLATE_STIFFNESS", [30.0, 12.0, 0.2, 26.0, 0.0, ""]),
        ("PLATE_STIFFNESS", [30.0, 12.0, 0.2]),
        ("OIL_VISCOSITY", [404.0, 28.0, [[""], [20.0], [140.0], [True]]]),
        ("TRAPPED_AIR", [""]),
        ("WHY", ["PLATE_STIFFNESS", 30.0, 12.0, -0.2, 26.0]),
        ("WHY", ["PLATE_STIFFNESS", 30.0, 12.0, [[0.1], [-0.2]], 26.0]),
    ],
)
def test_ranges_blanks_texts_and_refusals_are_those_of_the_registry(
    excel: Run, name: str, arguments: list[object]
) -> None:
    told = excel([(name, [matrix(value) for value in arguments])])
    assert told["results"][0][0] == expected(name, arguments)


def test_an_error_in_a_mapped_range_stays_in_its_cell(excel: Run) -> None:
    error = {"type": "Error", "basicType": "Error", "basicValue": "#DIV/0!", "errorType": "Div0"}
    told = excel([("OIL_VISCOSITY", [[[404.0]], [[28.0]], [[60.0], [error], [60.0]]])])
    value = evaluate("OIL_VISCOSITY", [404.0, 28.0, 60.0]).value
    assert told["results"][0][0]["value"] == [[value], [{"code": "#DIV/0!", "message": None}], [value]]


def test_an_error_in_a_single_cell_is_handed_on(excel: Run) -> None:
    error = {"type": "Error", "basicType": "Error", "basicValue": "#N/A", "errorType": "NotAvailable"}
    told = excel([("OIL_VISCOSITY", [[[404.0]], [[28.0]], [[error]]])])
    assert told["results"][0][0]["code"] == "#N/A"


def test_cells_asked_for_together_share_requests_of_at_most_500_calls(excel: Run) -> None:
    calls = [("OIL_VISCOSITY", [[[404.0]], [[28.0]], [[20 + i / 100]]]) for i in range(1201)]
    told = excel(calls)
    assert sorted(request["calls"] for request in told["requests"]) == [201, 500, 500]
    values = [result["value"][0][0] for result in told["results"][0]]
    assert values == [evaluate("OIL_VISCOSITY", [404.0, 28.0, 20 + i / 100]).value for i in range(1201)]


def test_equal_calls_are_made_once_and_all_answered(excel: Run) -> None:
    told = excel([("OIL_VISCOSITY", OIL)] * 10_000, [("OIL_VISCOSITY", OIL)])
    assert [request["calls"] for request in told["requests"]] == [1, 1]
    value = evaluate("OIL_VISCOSITY", [404.0, 28.0, 60.0]).value
    assert told["results"] == [[{"value": [[value]]}] * 10_000, [{"value": [[value]]}]]


def test_large_requests_are_parted_by_their_size(excel: Run) -> None:
    calls = [("OIL_LABEL", [[[f"{i}" * 1_500_000]]]) for i in range(5)]
    answers = [{"results": [{"value": 0}] * count} for count in (2, 2, 1)]
    fakes = [{"status": 200, "text": json.dumps(answer)} for answer in answers]
    told = excel(calls, fakes=fakes)
    assert [request["calls"] for request in told["requests"]] == [2, 2, 1]
    assert told["results"][0] == [{"value": [[0]]}] * 5


def test_blank_rows_at_the_end_of_a_long_range_are_not_sent_but_filled_up_again(excel: Run) -> None:
    column: list[list[object]] = [[50.0 if row < 3 else ""] for row in range(5000)]
    told = excel([("OIL_VISCOSITY", [[[404.0]], [[28.0]], column])])
    value = evaluate("OIL_VISCOSITY", [404.0, 28.0, 50.0]).value
    assert told["results"][0][0]["value"] == [[value]] * 3 + [[""]] * 4997
    assert told["requests"][0]["characters"] < 300


def test_a_range_of_too_many_rows_is_refused_with_a_sentence(excel: Run) -> None:
    told = excel([("OIL_VISCOSITY", [[[404.0]], [[28.0]], [[50.0]] * 200_001])])
    assert told["results"][0][0]["code"] == "#VALUE!"
    assert "the ranges are too large" in told["results"][0][0]["message"]


def test_a_call_that_takes_too_long_gets_a_sentence_and_the_others_their_values(excel: Run) -> None:
    stack = [["shim", 30 - 0.5 * i, 0.2, 2, ""] for i in range(12)] + [["clamp", 12, 0.3, 1, ""]]
    loads = [[i / 10] for i in range(20_000)]
    told = excel([("STACK_LIFT", [stack, loads, [[28.0]]]), ("OIL_VISCOSITY", OIL)])
    slow, other = told["results"][0]
    assert slow["code"] == "#N/A"
    assert "took longer than 1 s and was stopped" in slow["message"]
    assert other == expected("OIL_VISCOSITY", [404.0, 28.0, 60.0])


def test_a_wrong_token_says_where_to_paste_the_link(excel: Run) -> None:
    told = excel([("OIL_VISCOSITY", OIL)], token="x" * 43)
    assert told["results"][0][0]["code"] == "#N/A"
    assert "open its pane" in told["results"][0][0]["message"]
    assert len(told["requests"]) == 1


def test_an_addin_of_another_version_says_so(excel: Run, addin: Path, tmp_path: Path) -> None:
    newer = tmp_path / "functions.js"
    script = (addin / "served" / "functions.js").read_text(encoding="utf-8")
    newer.write_text(script.replace(f'VERSION = "{__version__}"', 'VERSION = "7.3.0"'), encoding="utf-8")
    told = excel([("OIL_VISCOSITY", OIL)], script=str(newer))
    assert told["results"][0][0]["code"] == "#N/A"
    assert (
        f"is of Dampcell 7.3.0, the calculation server of Dampcell {__version__}"
        in (told["results"][0][0]["message"])
    )


def test_without_a_server_every_cell_says_how_to_start_it_after_one_retry(excel: Run) -> None:
    told = excel([("OIL_VISCOSITY", OIL), ("OIL_INDEX", OIL[:2])], origin="https://localhost:9")
    for result in told["results"][0]:
        assert result["code"] == "#N/A"
        assert "start it with “dampcell serve”" in result["message"]
    assert len(told["requests"]) == 2


@pytest.mark.parametrize("fake", ["refuse", {"status": 503, "text": '{"error":{"message":"busy."}}'}])
def test_a_request_that_fails_once_is_made_again(excel: Run, fake: object) -> None:
    told = excel([("OIL_VISCOSITY", OIL)], fakes=[fake])
    assert told["results"][0][0] == expected("OIL_VISCOSITY", [404.0, 28.0, 60.0])
    assert len(told["requests"]) == 2


def test_after_the_server_is_back_the_next_recalculation_has_values(excel: Run) -> None:
    told = excel([("OIL_VISCOSITY", OIL)], [("OIL_VISCOSITY", OIL)], fakes=["refuse", "refuse"])
    assert told["results"][0][0]["code"] == "#N/A"
    assert told["results"][1][0] == expected("OIL_VISCOSITY", [404.0, 28.0, 60.0])


@pytest.mark.parametrize(
    ("fake", "sentence"),
    [
        ({"status": 200, "text": "<html>"}, "is not Dampcell"),
        ({"status": 200, "text": "{}"}, "is not Dampcell"),
        ({"status": 200, "text": '{"results":[]}'}, "is not Dampcell"),
        ({"status": 200, "text": '{"results":[7]}'}, "is not Dampcell"),
        ({"status": 200, "text": '{"results":[{"value":[1]}]}'}, ""),
        ({"status": 500, "text": "oops"}, "is not Dampcell"),
        ({"status": 413, "text": json.dumps({"error": {"message": "it is too large."}})}, "it is too large."),
        ("hang", "gave no answer within"),
    ],
)
def test_whatever_answers_every_cell_is_settled(excel: Run, fake: object, sentence: str) -> None:
    told = excel([("OIL_VISCOSITY", OIL)], fakes=[fake], longest=200)
    result = told["results"][0][0]
    assert sentence in result["message"]
    assert result["code"] == ("#N/A" if sentence else "not a CustomFunctions.Error")


def test_a_missing_result_costs_its_own_cell_alone(excel: Run) -> None:
    fake = {"status": 200, "text": '{"results":[{"value":1.5}]}'}
    told = excel([("OIL_VISCOSITY", OIL), ("OIL_INDEX", OIL[:2])], fakes=[fake])
    assert told["results"][0][0] == {"value": [[1.5]]}
    assert told["results"][0][1]["code"] == "#N/A"


def test_errors_without_a_text_in_excel_carry_none_and_unknown_ones_become_value(excel: Run) -> None:
    codes = ["#NUM!", "#DIV/0!", "#REF!", "#NAME?", "#NULL!", "#SPILL!", "#VALUE!", "#N/A"]
    answer = {"results": [{"error": {"code": code, "message": "why."}} for code in codes]}
    calls = [("OIL_INDEX", [[[100.0 + i]], [[9.0]]]) for i in range(len(codes))]
    told = excel(calls, fakes=[{"status": 200, "text": json.dumps(answer)}])
    assert [(r["code"], r["message"]) for r in told["results"][0]] == [
        *((code, None) for code in codes[:5]),
        ("#VALUE!", "why."),
        ("#VALUE!", "why."),
        ("#N/A", "why."),
    ]


def test_a_blank_in_a_result_is_an_empty_text(excel: Run) -> None:
    told = excel(
        [("OIL_VISCOSITY", OIL)], fakes=[{"status": 200, "text": '{"results":[{"value":[[null,1]]}]}'}]
    )
    assert told["results"][0][0] == {"value": [["", 1]]}
