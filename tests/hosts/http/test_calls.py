"""Calls over the wire: what comes back, what is refused, and that nothing holds up the others."""

from __future__ import annotations

import asyncio
import json
import socket
from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from dampcell import __version__
from dampcell.functions.hosts.http.pool import Answer, Pool
from dampcell.functions.hosts.http.settings import Limits, Settings
from dampcell.functions.hosts.http.wire import result_json
from dampcell.functions.hosts.http.worker import INDEX, TOTAL
from dampcell.functions.registry import CellError, Outcome, evaluate

Caller = Callable[..., list[dict[str, object]]]
TOKEN = "t" * 43
FAMILIES = ("dampcell.functions.cells", "trial_cells_for_server")
STACK = [["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]]


def post(client: TestClient, body: object) -> tuple[int, dict[str, object]]:
    """Send a body, text as it is, and read the answer."""
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    answer = client.post("/v1/calls", content=content, headers={"Content-Type": "application/json"})
    return answer.status_code, dict(answer.json())


def as_sent(value: object) -> object:
    """Write a value as the wire does."""
    if isinstance(value, CellError):
        return {"error": {"code": value.code, "message": value.message, "argument": value.parameter}}
    if isinstance(value, list):
        return [[as_sent(cell) for cell in row] for row in value]
    return value


def as_result(outcome: Outcome) -> dict[str, object]:
    """Write an outcome as the wire does."""
    sent = as_sent(outcome.value)
    told = sent if isinstance(outcome.value, CellError) else {"value": sent}
    assert isinstance(told, dict)
    return {**told, "notes": list(outcome.notes)}


def test_results_come_in_the_order_of_the_calls_with_value_or_error_each(results_of: Caller) -> None:
    results = results_of(
        ("TRIAL_ECHO", ["a"]), ("PLATE_STIFFNESS", [8, 12, 0.2, 26]), ("NO_SUCH", []), ("TRIAL_ECHO", ["b"])
    )
    assert [result.get("value") for result in results] == ["a", None, None, "b"]
    error = results[1]["error"]
    assert isinstance(error, dict)
    assert (error["code"], error["argument"]) == ("#VALUE!", "outer_diameter")
    assert "allowed: above 12 mm" in error["message"]
    assert "there is no function DAMP.NO_SUCH" in str(results[2]["error"])


@pytest.mark.parametrize(
    "name", ["damp.plate_stiffness", "DAMP_PLATE_STIFFNESS", "_xldudf_DAMP_PLATE_STIFFNESS"]
)
def test_every_spelling_is_understood(results_of: Caller, name: str) -> None:
    assert results_of((name, [30, 12, 0.2, 26])) == results_of(("PLATE_STIFFNESS", [30, 12, 0.2, 26]))


def test_a_range_maps_and_keeps_errors_and_blanks_in_their_places(results_of: Caller) -> None:
    handed_on = {"error": {"code": "#DIV/0!", "message": "", "argument": None}}
    (result,) = results_of(("PLATE_STIFFNESS", [30, 12, 0.2, [[26], [11], [None], [handed_on]]]))
    rows = result["value"]
    assert isinstance(rows, list)
    assert isinstance(rows[0][0], float)
    assert rows[1][0]["error"]["argument"] == "load_diameter"
    assert rows[2] == [""]
    assert rows[3] == [handed_on]


def test_an_error_of_another_cell_is_handed_on(results_of: Caller) -> None:
    (result,) = results_of(("PLATE_STIFFNESS", [{"error": {"code": "#REF!"}}, 12, 0.2, 26]))
    assert result["error"] == {"code": "#REF!", "message": "", "argument": None}


def test_an_error_value_that_no_spreadsheet_has_becomes_a_value_error(results_of: Caller) -> None:
    (result,) = results_of(("TRIAL_ECHO", [{"error": {"code": "<script>", "argument": 1, "message": 7}}]))
    assert result["error"] == {"code": "#VALUE!", "message": "7", "argument": None}


def test_notes_come_beside_the_value(results_of: Caller) -> None:
    (result,) = results_of(("STACK_LIFT", [STACK, 500, 26]))
    wanted = evaluate("STACK_LIFT", [json.loads(json.dumps(STACK), parse_int=float), 500.0, 26.0])
    assert wanted.notes
    assert result == as_result(wanted)


def test_text_with_a_unit_is_read_as_in_a_cell(results_of: Caller) -> None:
    first, second = results_of(
        ("PLATE_STIFFNESS", ["30 mm", 12, "0,2", "2.6 cm"]), ("PLATE_STIFFNESS", [30, 12, 0.2, 26])
    )
    assert first == second


def test_any_text_survives_the_way_there_and_back(results_of: Caller) -> None:
    texts = [
        "ünïcødé ° ² −",
        "\U0001f527",
        'quotes " and \\ backslash',
        "line\nbreak\ttab",
        "</script>",
        "\u0000x",
    ]
    assert [r["value"] for r in results_of(*[("TRIAL_ECHO", [text]) for text in texts])] == texts


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ([1, 2], "is a list, but not of rows"),
        ([[1], 2], "is a list, but not of rows"),
        ({"value": 1}, "holds something that is no cell value"),
        ([[[1]]], "holds something that is no cell value"),
        ({"error": "text"}, "holds something that is no cell value"),
    ],
)
def test_what_is_no_cell_value_is_refused_by_name(results_of: Caller, value: object, sentence: str) -> None:
    first, second = results_of(("PLATE_STIFFNESS", [30, value, 0.2, 26]), ("TRIAL_ECHO", ["still here"]))
    assert f"clamp_diameter: {sentence}" in str(first["error"])
    assert second["value"] == "still here"


@pytest.mark.parametrize("number", [b"1e999", b"-1e999", b"1" + b"0" * 400])
def test_a_number_beyond_all_bounds_is_refused_by_name(client: TestClient, number: bytes) -> None:
    body = b'{"version":"%s","calls":[{"function":"PLATE_STIFFNESS","arguments":[%s]}]}'
    status, read = post(client, body % (__version__.encode(), number))
    assert status == 200
    assert "outer_diameter: a number is too large" in str(read)


def test_a_surplus_value_of_no_kind_is_refused_by_its_place(results_of: Caller) -> None:
    (result,) = results_of(("TRIAL_ECHO", ["a", "b"]))
    assert "takes at most 1 arguments" in str(result["error"])


@pytest.mark.parametrize("call", [None, 1, "x", [], {}, {"function": 5}, {"function": None, "arguments": []}])
def test_a_call_without_a_function_gives_an_error_in_its_place(client: TestClient, call: object) -> None:
    _, read = post(
        client, {"version": __version__, "calls": [call, {"function": "TRIAL_ECHO", "arguments": ["b"]}]}
    )
    results = read["results"]
    assert isinstance(results, list)
    assert "function: is missing" in results[0]["error"]["message"]
    assert results[1]["value"] == "b"


def test_arguments_must_be_a_list(client: TestClient) -> None:
    _, read = post(client, {"version": __version__, "calls": [{"function": "TRIAL_ECHO", "arguments": "a"}]})
    assert "arguments: are not a list" in str(read)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"x",
        b"{",
        b'{"version":NaN}',
        b'{"a":Infinity}',
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"a":' * 30_000,
        b"1" * 5000,
    ],
)
def test_what_is_not_json_is_refused(client: TestClient, body: bytes) -> None:
    status, read = post(client, body)
    assert status == 400
    assert "is not JSON" in str(read)


@pytest.mark.parametrize("body", [b"[]", b"1", b'"x"', b"null"])
def test_json_that_is_no_object_is_refused(client: TestClient, body: bytes) -> None:
    status, read = post(client, body)
    assert status == 400
    assert "not an object" in str(read)


@pytest.mark.parametrize("calls", [None, {}, "x", 3])
def test_calls_must_be_a_list(client: TestClient, calls: object) -> None:
    status, read = post(client, {"version": __version__, "calls": calls})
    assert status == 400
    assert '"calls" is missing' in read["error"]["message"]  # type: ignore[index]  # compared at once


def test_more_calls_than_allowed_are_refused(client: TestClient) -> None:
    call = {"function": "TRIAL_ECHO", "arguments": ["a"]}
    assert post(client, {"version": __version__, "calls": [call] * 50})[0] == 200
    status, read = post(client, {"version": __version__, "calls": [call] * 51})
    assert status == 413
    assert "there are 51 calls in one request; allowed: up to 50" in str(read)


def test_a_range_above_the_cap_is_refused_and_costs_nothing_else(results_of: Caller) -> None:
    large, small = results_of(("PLATE_STIFFNESS", [30, 12, 0.2, [[26]] * 998]), ("TRIAL_ECHO", ["b"]))
    assert "1,001 cells" in str(large["error"])
    assert "up to 1,000 cells in one formula" in str(large["error"])
    assert small["value"] == "b"


def test_a_range_of_a_hundred_thousand_rows_is_calculated(misbehaving: None) -> None:
    rows = [[str(number)] for number in range(100_000)]
    (answer,) = answers_of(patient(workers=1), ("TRIAL_ECHO", [rows]))
    assert json.loads(answer.body)["results"][0]["value"] == rows


@pytest.mark.parametrize("version", ["0.0.1", "99.0.0", "0.99", __version__.split(".")[0] + ".99.0"])
def test_another_version_is_refused_with_a_sentence_naming_both(client: TestClient, version: str) -> None:
    status, read = post(client, {"version": version, "calls": []})
    assert status == 409
    assert f"Dampcell {version}" in str(read)
    assert f"Dampcell {__version__}" in str(read)


@pytest.mark.parametrize("patch", ["", ".99", ".0rc1"])
def test_the_patch_level_may_differ(client: TestClient, patch: str) -> None:
    version = ".".join(__version__.split(".")[:2]) + patch
    assert post(client, {"version": version, "calls": []})[0] == 200


@pytest.mark.parametrize("version", [None, 1, "", "new", "0", "1" * 100 + ".0", "0.1" + "x" * 100])
def test_a_request_without_a_version_is_refused(client: TestClient, version: object) -> None:
    status, read = post(client, {"version": version, "calls": []})
    assert status == 400
    assert "does not say which version" in str(read)


def test_a_fault_of_the_program_costs_one_cell_and_no_traceback(results_of: Caller) -> None:
    first, second = results_of(("TRIAL_FAULT", ["inner secret"]), ("TRIAL_ECHO", ["b"]))
    assert "DAMP.TRIAL_FAULT: failed inside (RuntimeError)" in str(first["error"])
    assert "inner secret" not in str(first)
    assert second["value"] == "b"


@pytest.mark.parametrize("name", ["TRIAL_HANG", "TRIAL_HANG_COMPILED"])
def test_a_call_without_end_is_stopped_and_the_calls_around_it_are_answered(
    results_of: Caller, name: str
) -> None:
    first, hung, last = results_of(("TRIAL_ECHO", ["a"]), (name, []), ("TRIAL_ECHO", ["b"]))
    assert (first["value"], last["value"]) == ("a", "b")
    error = hung["error"]
    assert isinstance(error, dict)
    assert error["code"] == "#N/A"
    assert f"DAMP.{name}: took longer than 2 s and was stopped" in error["message"]


def test_a_call_that_ends_its_process_costs_one_cell(results_of: Caller) -> None:
    first, died, last = results_of(("TRIAL_ECHO", ["a"]), ("TRIAL_DIE", []), ("TRIAL_ECHO", ["b"]))
    assert (first["value"], last["value"]) == ("a", "b")
    assert "DAMP.TRIAL_DIE: the calculation ended the process" in str(died["error"])


def body_of(*calls: tuple[str, list[object]]) -> bytes:
    """Write the body of a request."""
    listed = [{"function": name, "arguments": arguments} for name, arguments in calls]
    return json.dumps({"version": __version__, "calls": listed}).encode()


def patient(workers: int) -> Settings:
    """Give settings whose limits are never reached."""
    limits = Limits(call_seconds=300.0, request_seconds=300.0)
    return Settings(token=TOKEN, workers=workers, most_workers=3, families=FAMILIES, limits=limits)


def answers_of(settings: Settings, *calls: tuple[str, list[object]]) -> list[Answer]:
    """Send requests of one call each, all at once, to a pool that lives for them alone."""

    async def ask() -> list[Answer]:
        pool = Pool(settings)
        try:
            return list(await asyncio.gather(*(pool.run(body_of(call)) for call in calls)))
        finally:
            await pool.stop()

    return asyncio.run(ask())


def test_hung_calls_do_not_hold_up_others_and_closing_ends_them(misbehaving: None) -> None:
    async def ask() -> None:
        pool = Pool(patient(workers=1))
        hung = [asyncio.ensure_future(pool.run(body_of(("TRIAL_HANG", [])))) for _ in range(2)]
        answer = await pool.run(body_of(("TRIAL_ECHO", ["not held up"])))
        assert b"not held up" in answer.body
        assert not any(task.done() for task in hung)
        await pool.stop()
        assert [(await task).status for task in hung] == [503, 503]
        assert pool.size == 0

    asyncio.run(ask())


def test_when_no_worker_comes_free_the_request_is_told_so(misbehaving: None) -> None:
    async def ask() -> Answer:
        limits = Limits(call_seconds=300.0, request_seconds=0.5)
        pool = Pool(Settings(token=TOKEN, workers=0, most_workers=0, families=FAMILIES, limits=limits))
        return await pool.run(body_of(("TRIAL_ECHO", ["a"])))

    assert "held up by slow calculations" in asyncio.run(ask()).body.decode()


def test_a_closed_pool_says_so(misbehaving: None) -> None:
    async def ask() -> Answer:
        pool = Pool(patient(workers=1))
        await pool.stop()
        return await pool.run(body_of(("TRIAL_ECHO", ["a"])))

    answer = asyncio.run(ask())
    assert answer.status == 503
    assert "held up" in answer.body.decode()


def test_a_request_that_nobody_waits_for_any_more_is_stopped(misbehaving: None) -> None:
    async def ask() -> None:
        pool = Pool(patient(workers=1))
        await pool.run(body_of(("TRIAL_ECHO", ["warm"])))
        (worker,) = pool._all
        given_up = asyncio.ensure_future(pool.run(body_of(("TRIAL_HANG", []))))
        await asyncio.sleep(0)
        while worker.progress[INDEX] < 0 or worker.progress[TOTAL] == 0:
            await asyncio.sleep(0)
        given_up.cancel()
        with pytest.raises(asyncio.CancelledError):
            await given_up
        assert worker not in pool._all
        await pool.stop()

    asyncio.run(ask())


def test_workers_beyond_the_usual_number_leave_again(misbehaving: None) -> None:
    async def ask() -> None:
        pool = Pool(patient(workers=1))
        await pool.start()
        answers = await asyncio.gather(*(pool.run(body_of(("TRIAL_ECHO", ["a"]))) for _ in range(6)))
        assert [answer.status for answer in answers] == [200] * 6
        assert pool.size == 1
        await pool.stop()

    asyncio.run(ask())


def test_a_worker_that_died_in_its_sleep_is_replaced(misbehaving: None) -> None:
    async def ask() -> Answer:
        pool = Pool(patient(workers=1))
        await pool.run(body_of(("TRIAL_ECHO", ["warm"])))
        (worker,) = pool._all
        worker.process.kill()
        while not worker.line.lost:
            await asyncio.sleep(0)
        try:
            return await pool.run(body_of(("TRIAL_ECHO", ["again"])))
        finally:
            await pool.stop()

    assert b"again" in asyncio.run(ask()).body


def test_the_calls_behind_too_many_slow_ones_are_given_up(misbehaving: None) -> None:
    limits = Limits(call_seconds=1.0, request_seconds=1.5)
    calls: list[tuple[str, list[object]]] = [("TRIAL_HANG", [])] * 5

    async def ask() -> Answer:
        pool = Pool(Settings(token=TOKEN, workers=1, families=FAMILIES, limits=limits))
        try:
            return await pool.run(body_of(("TRIAL_ECHO", ["a"]), *calls, ("TRIAL_ECHO", ["b"])))
        finally:
            await pool.stop()

    results = json.loads(asyncio.run(ask()).body)["results"]
    assert results[0]["value"] == "a"
    assert "took longer than 1 s" in results[1]["error"]["message"]
    for result in results[2:]:
        assert "because the formulas sent with it took longer than 1.5 s" in result["error"]["message"]


def test_a_request_that_cannot_be_read_in_time_is_refused(misbehaving: None) -> None:
    limits = Limits(call_seconds=0.0)
    (answer,) = answers_of(
        Settings(token=TOKEN, workers=1, families=FAMILIES, limits=limits), ("TRIAL_ECHO", [[["x"]] * 50_000])
    )
    assert answer.status == 503
    assert "could not be read in time" in answer.body.decode()


def test_a_file_is_read_only_in_a_folder_that_the_owner_named(
    results_of: Caller, named_folder: Path, tmp_path: Path
) -> None:
    inside, outside = named_folder / "oil.txt", tmp_path / "private.txt"
    inside.write_text("shelf", encoding="utf-8")
    outside.write_text("private", encoding="utf-8")
    link = named_folder / "link.txt"
    if not link.exists():
        link.symlink_to(outside)
    read, *refused = results_of(
        ("TRIAL_READ", [str(inside)]),
        ("TRIAL_READ", [str(outside)]),
        ("TRIAL_READ", [str(named_folder / ".." / outside.parent.name / outside.name)]),
        ("TRIAL_READ", [str(link)]),
        ("TRIAL_READ", [str(tmp_path / "not there")]),
        ("TRIAL_READ", ["/etc/passwd"]),
        ("TRIAL_LIST", [str(tmp_path)]),
        ("TRIAL_LIST", ["."]),
        ("TRIAL_READ", [str(named_folder) + "-beside/x"]),
    )
    assert read["value"] == "shelf"
    sentences = {str(result["error"]) for result in refused}
    assert len(sentences) == 1, "what is there and what is not must look the same"
    assert (
        "a cell function tried to read a file; allowed: reading, in the folders named with --folder"
        in sentences.pop()
    )


def test_no_file_is_written_and_no_program_or_network_reached(results_of: Caller, named_folder: Path) -> None:
    target = named_folder / "new.txt"
    with socket.create_server(("127.0.0.1", 0)) as there:
        written, ran, connected = results_of(
            ("TRIAL_WRITE", [str(target)]),
            ("TRIAL_PROGRAM", ["true"]),
            ("TRIAL_CONNECT", [str(there.getsockname()[1])]),
        )
    assert "a cell function tried to write a file" in str(written["error"])
    assert not target.exists()
    assert "a cell function tried subprocess.Popen" in str(ran["error"])
    assert "a cell function tried socket." in str(connected["error"])


def test_without_a_named_folder_nothing_is_read(misbehaving: None, tmp_path: Path) -> None:
    private = tmp_path / "private.txt"
    private.write_text("private", encoding="utf-8")
    (answer,) = answers_of(patient(workers=1), ("TRIAL_READ", [str(private)]))
    assert "allowed: nothing, unless the server was started with --folder" in answer.body.decode()


def test_what_is_no_cell_value_is_never_sent() -> None:
    with pytest.raises(TypeError, match="a complex is no cell value"):
        result_json(Outcome(1j))
    with pytest.raises(ValueError, match="not JSON compliant"):
        result_json(Outcome(float("nan")))
