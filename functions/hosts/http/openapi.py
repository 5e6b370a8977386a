"""The OpenAPI document of the server, generated from the registry."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from dampcell import __version__
from dampcell.functions.hosts.http.catalogue import example_arguments
from dampcell.functions.hosts.http.settings import Limits, Settings
from dampcell.functions.hosts.http.wire import ERROR_CODES
from dampcell.functions.registry import Argument, CellFunction

__all__ = ["openapi"]

Schema = dict[str, object]


def openapi(functions: Iterable[CellFunction], settings: Settings) -> Schema:
    """Write the OpenAPI 3.1 document.

    Parameters
    ----------
    functions : iterable of CellFunction
        As in the registry.
    settings : Settings
        Address and limits; nothing secret is taken from it.

    Returns
    -------
    dict
        Ready for JSON.
    """
    listed = list(functions)
    schemas: dict[str, Schema] = {
        "Scalar": {
            "description": "A cell: number, text, true, false, null for blank, or an error of another cell.",
            "anyOf": [{"type": ["number", "string", "boolean", "null"]}, _ref("CellError")],
        },
        "Range": {
            "description": "A range: a list of rows.",
            "type": "array",
            "items": {"type": "array", "items": _ref("Scalar")},
        },
        "Value": {"anyOf": [_ref("Scalar"), _ref("Range")]},
        "CellError": _object({"error": _error({"type": "string", "enum": list(ERROR_CODES)})}),
        "Refusal": _object({"error": _error({"type": "string"})}),
        "Result": {
            "type": "object",
            "description": "What one call gave: a value or an error, and notes that belong to the value.",
            "properties": {
                "value": _ref("Value"),
                "error": _error({"type": "string", "enum": list(ERROR_CODES)}),
                "notes": {"type": "array", "items": {"type": "string"}},
            },
            "required": ["notes"],
            "oneOf": [{"required": ["value"]}, {"required": ["error"]}],
        },
        "Call": {
            "description": "One call. Any spelling of the function's name is understood.",
            "oneOf": [_ref(f"Call_{function.name}") for function in listed],
            "discriminator": {
                "propertyName": "function",
                "mapping": {f.name: f"#/components/schemas/Call_{f.name}" for f in listed},
            },
        },
        **{f"Call_{function.name}": _call(function) for function in listed},
    }
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Dampcell calculation server",
            "version": __version__,
            "summary": "Shim stacks, damper oil and fills as cell functions, on this machine alone.",
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": settings.address.rstrip("/")}],
        "paths": _paths(settings.limits),
        "components": {
            "schemas": schemas,
            "securitySchemes": {
                "token": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": 'The token in the file "token" of the user\'s own config folder.',
                }
            },
        },
    }


def _paths(limits: Limits) -> Schema:
    version: Schema = {"type": "string", "description": "Version of Dampcell that the client belongs to."}
    calls: Schema = {"type": "array", "maxItems": limits.calls, "items": _ref("Call")}
    results = _object({"version": version, "results": {"type": "array", "items": _ref("Result")}})
    key: Schema = {"type": "string", "description": "The key in the fragment of the link."}
    health: Mapping[str, Schema] = {
        "status": {"type": "string"},
        "name": {"type": "string"},
        "version": version,
        "functions": {"type": "integer"},
        "authorised": {"type": "boolean", "description": "Whether this request carried the right token."},
    }
    anything: Schema = {"type": "object"}
    listed = _object({"version": version, "functions": {"type": "array", "items": anything}})
    guides = _object({"version": version, "guides": {"type": "array", "items": anything}})
    return {
        "/v1/calls": _post(
            "Make calls; results come in their order", {"version": version, "calls": calls}, results
        ),
        "/v1/session": _post(
            "Trade the key of a link, once, for the token",
            {"version": version, "key": key},
            _object({"token": {"type": "string"}}),
            secured=False,
        ),
        "/v1/links": _post(
            "Make a link that opens the page once", {"version": version}, _object({"link": key})
        ),
        "/v1/functions": _get("Every function with help, arguments and units", listed),
        "/v1/guides": _get("How each spreadsheet is connected", guides),
        "/v1/health": _get("Whether the server is there", _object(health)),
        "/openapi.json": _get("This document", anything),
    }


def _call(function: CellFunction) -> Schema:
    arguments = function.arguments
    variadic = bool(arguments) and arguments[-1].variadic
    fixed = arguments[:-1] if variadic else arguments
    listed: Schema = {
        "type": "array",
        "prefixItems": [_argument(argument) for argument in fixed],
        "items": _argument(arguments[-1]) if variadic else False,
        "minItems": function.minimum_arguments,
    }
    if not listed["prefixItems"]:
        del listed["prefixItems"]
    text = "\n\n".join(
        filter(None, (f"{function.summary}.", function.description, f"Source: {function.source}"))
    )
    return {
        "title": function.signature,
        "description": text,
        "type": "object",
        "properties": {"function": {"type": "string", "const": function.name}, "arguments": listed},
        "required": ["function", "arguments"],
        "examples": [{"function": function.name, "arguments": example_arguments(function)}],
    }


def _argument(argument: Argument) -> Schema:
    unit = f" [{argument.unit}]" if argument.unit and argument.unit != "-" else ""
    schema: Schema = {"title": f"{argument.name}{unit}", "description": argument.help, **_ref("Value")}
    if argument.layout is not None:
        schema["description"] = f"{argument.help} {argument.layout.describe()}".strip()
    if argument.choices:
        schema["examples"] = list(argument.choices)
    if isinstance(argument.default, str | int | float):
        schema["default"] = argument.default
    return schema


def _post(summary: str, properties: Mapping[str, Schema], answer: Schema, *, secured: bool = True) -> Schema:
    operation: Schema = {
        "summary": summary,
        "requestBody": {"required": True, "content": _json(_object(properties))},
        "responses": _responses(answer),
    }
    if secured:
        operation["security"] = [{"token": []}]
    return {"post": operation}


def _get(summary: str, answer: Schema) -> Schema:
    return {"get": {"summary": summary, "responses": _responses(answer)}}


def _responses(answer: Schema) -> Schema:
    return {
        "200": {"description": "The answer", "content": _json(answer)},
        "default": {"description": "Why there is no answer", "content": _json(_ref("Refusal"))},
    }


def _error(code: Schema) -> Schema:
    return _object({"code": code, "message": {"type": "string"}, "argument": {"type": ["string", "null"]}})


def _object(properties: Mapping[str, Schema]) -> Schema:
    return {"type": "object", "properties": dict(properties), "required": list(properties)}


def _json(schema: Schema) -> Schema:
    return {"application/json": {"schema": schema}}


def _ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}
