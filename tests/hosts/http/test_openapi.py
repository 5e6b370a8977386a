"""The OpenAPI document and the list of functions against the registry and an independent validator."""

from __future__ import annotations

import copy
import json
from collections.abc import Mapping

import pytest
from openapi_schema_validator import OAS31Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from starlette.testclient import TestClient

import dampcell.functions.cells  # noqa: F401 - importing the families fills the registry
from dampcell import __version__
from dampcell.functions.hosts.http.catalogue import catalogue, curve_of
from dampcell.functions.hosts.http.openapi import openapi
from dampcell.functions.hosts.http.settings import Settings
from dampcell.functions.registry import REGISTRY

TOKEN = "t" * 43
NAMES = [function.name for function in REGISTRY.values() if function.family != "Trial"]


@pytest.fixture(scope="module")
def document() -> dict[str, object]:
    """Give the document as a client reads it."""
    made = openapi([REGISTRY[name] for name in NAMES], Settings(token=TOKEN))
    return dict(json.loads(json.dumps(made)))


def schema(document: Mapping[str, object], name: str) -> dict[str, object]:
    """Give one schema, with the others where its references look for them."""
    components = copy.deepcopy(document["components"])
    assert isinstance(components, dict)
    return {"$ref": f"#/components/schemas/{name}", "components": components}


def test_the_document_is_valid_openapi(document: dict[str, object]) -> None:
    assert list(OpenAPIV31SpecValidator(document).iter_errors()) == []


def test_the_document_holds_no_secret(document: dict[str, object]) -> None:
    assert TOKEN not in json.dumps(document)


@pytest.mark.parametrize("name", NAMES)
def test_the_example_of_each_function_fits_its_schema_and_no_other(
    document: dict[str, object], name: str
) -> None:
    described = next(entry for entry in catalogue(REGISTRY.values()) if entry["name"] == name)
    call = json.loads(json.dumps({"function": name, "arguments": described["example_arguments"]}))
    validator = OAS31Validator(schema(document, "Call"))
    assert list(validator.iter_errors(call)) == []
    assert list(validator.iter_errors({**call, "function": "NO_SUCH"})) != []


def test_too_few_and_too_many_arguments_do_not_fit_the_schema(document: dict[str, object]) -> None:
    validator = OAS31Validator(schema(document, "Call_OIL_INDEX"))
    assert validator.is_valid({"function": "OIL_INDEX", "arguments": [73.3, 8.86]})
    assert not validator.is_valid({"function": "OIL_INDEX", "arguments": [73.3]})
    assert not validator.is_valid({"function": "OIL_INDEX", "arguments": [73.3, 8.86, 1]})
    assert not validator.is_valid({"function": "OIL_INDEX", "arguments": [73.3, {"value": 1}]})


def test_answers_fit_the_document(document: dict[str, object], client: TestClient) -> None:
    calls = [
        {"function": "OIL_INDEX", "arguments": [73.3, 8.86]},
        {"function": "OIL_INDEX", "arguments": [8.86, 73.3]},
        {"function": "OIL_INDEX", "arguments": [[[73.3], ["x"]], 8.86]},
    ]
    answer = client.post("/v1/calls", json={"version": __version__, "calls": calls}).json()
    for result in answer["results"]:
        assert list(OAS31Validator(schema(document, "Result")).iter_errors(result)) == []
    refusal = client.post("/v1/calls", json={"version": "0"}).json()
    assert OAS31Validator(schema(document, "Refusal")).is_valid(refusal)


def test_every_path_of_the_document_is_answered(document: dict[str, object], client: TestClient) -> None:
    paths = document["paths"]
    assert isinstance(paths, dict)
    for path, operations in paths.items():
        for method in operations:
            assert client.request(method, path, json={} if method == "post" else None).status_code != 404


def test_the_list_of_functions_is_the_registry(client: TestClient) -> None:
    listed = client.get("/v1/functions").json()
    assert listed["version"] == __version__
    by_name = {entry["name"]: entry for entry in listed["functions"]}
    for name in NAMES:
        function, entry = REGISTRY[name], by_name[name]
        assert (entry["summary"], entry["source"]) == (function.summary, function.source)
        assert [a["name"] for a in entry["arguments"]] == [a.name for a in function.arguments]
        assert [a["unit"] for a in entry["arguments"]] == [a.unit for a in function.arguments]
        assert [a["required"] for a in entry["arguments"]] == [a.required for a in function.arguments]
        for told, argument in zip(entry["arguments"], function.arguments, strict=True):
            if argument.layout is not None:
                assert [c["name"] for c in told["table"]["columns"]] == [
                    c.name for c in argument.layout.columns
                ]


def test_a_result_along_a_load_is_a_curve_and_a_list_of_findings_is_not() -> None:
    assert curve_of(REGISTRY["STACK_CURVE"]) == {"x": 0, "y": [1, 2]}
    assert curve_of(REGISTRY["STACK_CHECK"]) is None
    assert curve_of(REGISTRY["OIL_INDEX"]) is None


def test_the_guides_name_the_address_and_no_blanks_are_left(client: TestClient) -> None:
    listed = client.get("/v1/guides").json()["guides"]
    assert {"calc", "excel", "excel-desktop"} <= {guide["key"] for guide in listed}
    text = json.dumps(listed)
    assert "http://127.0.0.1:27430/" in text
    assert "{address}" not in text
    assert "{port}" not in text
