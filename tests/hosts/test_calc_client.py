"""What the extension's helper modules do, against a small server of our own and a clock made of numbers."""

from __future__ import annotations

import ast
import http.server
import json
import struct
import threading
from collections.abc import Iterator, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import platformdirs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions.hosts.calc_addin.shipped import dampcell_calc_client as client
from dampcell.functions.hosts.calc_addin.shipped.component import as_cells, error_value
from dampcell.functions.hosts.calc_addin.shipped.dampcell_calc_ahead import FIRST_LOOK, Ahead
from dampcell.functions.hosts.calc_addin.shipped.dampcell_calc_client import (
    Calculator,
    Refused,
    Unreachable,
    config_folders,
    trimmed,
)

TOKEN = "t" * 43
START = 'start it with "dampcell serve", then recalculate with Ctrl+Shift+F9.'


class Clock:
    """Seconds that pass only when told."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


class Stub:
    """A server with the same wire shape, and knobs to make it fail."""

    def __init__(self) -> None:
        self.posts: list[list[dict[str, Any]]] = []
        self.version = "1.2.3"
        self.name = "dampcell"
        self.status = 200
        self.answer: Any = None
        self.hang = threading.Event()
        self.hangs = False
        self.closes = False
        stub = self

        class Handler(http.server.BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def log_message(self, *_: object) -> None:
                """Say nothing."""

            def do_GET(self) -> None:
                authorised = self.headers["Authorization"] == f"Bearer {TOKEN}"
                told = {"name": stub.name, "version": stub.version, "authorised": authorised}
                self.tell(200, told)

            def do_POST(self) -> None:
                given = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                stub.posts.append(given["calls"])
                if stub.hangs:
                    stub.hang.wait(10)
                results = [{"value": call["arguments"]} for call in given["calls"]]
                told = {"version": stub.version, "results": results}
                self.tell(stub.status, told if stub.answer is None else stub.answer)
                self.close_connection = stub.closes

            def tell(self, status: int, told: object) -> None:
                body = json.dumps(told).encode()
                self.send_response(status)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

        self.http = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.http.daemon_threads = True
        self.port = int(self.http.server_address[1])
        self.thread = threading.Thread(target=self.http.serve_forever, args=(0.01,))
        self.thread.start()

    def stop(self) -> None:
        self.hang.set()
        self.http.shutdown()
        self.thread.join()
        self.http.server_close()


@pytest.fixture
def stub() -> Iterator[Stub]:
    server = Stub()
    yield server
    server.stop()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "token").write_text(f"{TOKEN}\n")
    return tmp_path


@pytest.fixture
def calculator(stub: Stub, clock: Clock, folder: Path) -> Iterator[Calculator]:
    made = Calculator("1.2.0", stub.port, [str(folder)], clock)
    yield made
    made.forget()


def test_an_equal_call_is_asked_once(calculator: Calculator, stub: Stub) -> None:
    assert [calculator.call("X", [1.5, "a", None]) for _ in range(3)] == [[1.5, "a", None]] * 3
    assert stub.posts == [[{"function": "X", "arguments": [1.5, "a", None]}]]


def test_a_call_that_must_not_be_remembered_is_asked_each_time(calculator: Calculator, stub: Stub) -> None:
    for _ in range(2):
        calculator.call("X", [1.0], remember=False)
    assert len(stub.posts) == 2


def test_forgetting_asks_again(calculator: Calculator, stub: Stub) -> None:
    calculator.call("X", [1.0])
    calculator.forget()
    calculator.call("X", [1.0])
    assert len(stub.posts) == 2


def test_what_is_remembered_has_a_bound(
    calculator: Calculator, stub: Stub, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(calculator, "_known", client._Memory(20))
    for number in range(30):
        calculator.call("X", [float(number)])
    asked = len(stub.posts)
    calculator.call("X", [29.0])
    assert len(stub.posts) == asked
    calculator.call("X", [0.0])
    assert len(stub.posts) == asked + 1


def test_a_result_larger_than_half_the_memory_does_not_push_out_the_rest() -> None:
    memory = client._Memory(10)
    memory.put("small", {"value": 1}, 2)
    memory.put("large", {"value": 2}, 6)
    assert memory.get("small") == {"value": 1}
    assert memory.get("large") is None


def test_an_error_value_is_told_with_its_sentence(calculator: Calculator, stub: Stub) -> None:
    error = {"code": "#NUM!", "message": "no solution.", "argument": None}
    stub.answer = {"version": "1.2.3", "results": [{"error": error}]}
    with pytest.raises(Refused, match=r"^no solution\.$") as refused:
        calculator.call("X", [1.0])
    assert refused.value.code == "#NUM!"


def test_an_answer_that_may_differ_next_time_is_not_remembered(calculator: Calculator, stub: Stub) -> None:
    error = {"code": "#N/A", "message": "took longer than 10 s.", "argument": None}
    stub.answer = {"version": "1.2.3", "results": [{"error": error}]}
    for _ in range(2):
        with pytest.raises(Refused):
            calculator.call("X", [1.0])
    assert len(stub.posts) == 2


def test_a_number_that_json_has_no_word_for_is_refused(calculator: Calculator) -> None:
    with pytest.raises(Refused, match="an argument is no finite number"):
        calculator.call("X", [float("inf")])


def test_a_connection_closed_while_idle_is_opened_anew(
    calculator: Calculator, stub: Stub, clock: Clock
) -> None:
    stub.closes = True
    calculator.call("X", [1.0])
    clock.now += 60
    assert calculator.call("X", [2.0]) == [2.0]
    # What the old connection had said is asked anew.
    calculator.call("X", [1.0])
    assert len(stub.posts) == 3


def test_a_server_that_is_not_there_is_tried_again_after_a_pause(folder: Path, clock: Clock) -> None:
    stub = Stub()
    stub.stop()
    calculator = Calculator("1.2.0", stub.port, [str(folder)], clock)
    sentence = f"the calculation server is not running (port {stub.port}): {START}"
    for _ in range(2):
        with pytest.raises(Unreachable) as trouble:
            calculator.call("X", [1.0])
        assert str(trouble.value) == sentence
    assert calculator.status() == sentence


def test_while_the_pause_lasts_no_cell_waits(calculator: Calculator, stub: Stub, clock: Clock) -> None:
    stub.answer = {"nonsense": True}
    for _ in range(3):
        with pytest.raises(Unreachable, match="is not the calculation server of Dampcell: end it, or use"):
            calculator.call("X", [1.0])
    assert len(stub.posts) == 1
    stub.answer = None
    clock.now += client.PAUSE_SECONDS
    assert calculator.call("X", [1.0]) == [1.0]


def test_a_silent_server_costs_its_patience_less_and_less_often(
    calculator: Calculator, stub: Stub, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(client, "CALL_SECONDS", 0.05)
    stub.hangs = True
    with pytest.raises(Unreachable, match=r"gave no answer within 0\.05 s: use a smaller range, or start"):
        calculator.call("X", [1.0])
    clock.now += 1.5 * client.PAUSE_SECONDS
    with pytest.raises(Unreachable):
        calculator.call("X", [1.0])
    assert len(stub.posts) == 2
    clock.now += 0.5 * client.PAUSE_SECONDS
    with pytest.raises(Unreachable):
        calculator.call("X", [1.0])
    assert len(stub.posts) == 2


def test_an_older_server_is_named_with_both_versions(calculator: Calculator, stub: Stub) -> None:
    stub.version = "1.1.9"
    with pytest.raises(Unreachable) as trouble:
        calculator.call("X", [1.0])
    assert str(trouble.value) == (
        "the extension in LibreOffice is of Dampcell 1.2.0, the calculation server of Dampcell 1.1.9: update "
        'the older one ("dampcell connect calc" renews the extension), start both again, then recalculate '
        "with Ctrl+Shift+F9."
    )
    assert stub.posts == []


def test_a_version_refused_by_the_server_is_said_in_its_words(calculator: Calculator, stub: Stub) -> None:
    stub.status, stub.answer = 409, {"error": {"code": "version", "message": "too old."}}
    with pytest.raises(Unreachable, match=r"^too old\.$"):
        calculator.call("X", [1.0])


def test_a_busy_server_spoils_this_call_alone(calculator: Calculator, stub: Stub) -> None:
    stub.status, stub.answer = 503, {"error": {"code": "busy", "message": "try again."}}
    with pytest.raises(Unreachable, match=r"^try again\.$"):
        calculator.call("X", [1.0])
    stub.status, stub.answer = 200, None
    assert calculator.call("X", [1.0]) == [1.0]


def test_a_wrong_token_is_named_with_its_file(calculator: Calculator, folder: Path, stub: Stub) -> None:
    (folder / "token").write_text("other")
    with pytest.raises(Unreachable) as trouble:
        calculator.call("X", [1.0])
    assert f"does not take the token in {folder / 'token'}; it may be that of another user" in str(
        trouble.value
    )


def test_a_token_that_changed_meanwhile_is_refused_with_a_sentence(
    calculator: Calculator, stub: Stub
) -> None:
    stub.status, stub.answer = 401, {"error": {"code": "token", "message": "no."}}
    with pytest.raises(Unreachable, match="does not take the token in"):
        calculator.call("X", [1.0])


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (None, "the calculation server was never started by this user (there is no {}): "),
        (b"\n", "{} does not hold a token: delete it, "),
        (b"\xff", "the token in {} cannot be read: delete it, "),
    ],
)
def test_a_token_that_is_no_use_is_said(
    calculator: Calculator, folder: Path, content: bytes | None, sentence: str
) -> None:
    token = folder / "token"
    token.unlink()
    if content is not None:
        token.write_bytes(content)
    assert calculator.status() == sentence.format(token) + START


def test_another_program_on_the_port_is_said(calculator: Calculator, stub: Stub) -> None:
    stub.name = "other"
    assert f"the program on port {stub.port} is not the calculation server of Dampcell" in calculator.status()


def test_fetching_ahead_asks_in_few_requests_and_only_for_the_unknown(
    calculator: Calculator, stub: Stub
) -> None:
    calculator.call("X", [0.0])
    assert calculator.fetch([("X", [float(number % 500)]) for number in range(1000)]) == 499
    assert sum(map(len, stub.posts)) == 500
    assert max(map(len, stub.posts)) <= client.MOST_CALLS
    assert calculator.call("X", [7.0]) == [7.0]
    assert sum(map(len, stub.posts)) == 500


def test_fetching_ahead_from_a_silent_server_leaves_the_sentence_to_the_call(
    calculator: Calculator, stub: Stub
) -> None:
    stub.name = "other"
    assert calculator.fetch([("X", [1.0])]) == 0


@pytest.mark.parametrize(
    ("platform", "environment", "folders"),
    [
        ("linux", {"HOME": "/h"}, ["/h/.config/dampcell"]),
        ("linux", {"HOME": "/h", "XDG_CONFIG_HOME": "/x"}, ["/x/dampcell", "/h/.config/dampcell"]),
        ("darwin", {"HOME": "/h"}, ["/h/Library/Application Support/dampcell"]),
        ("win32", {"LOCALAPPDATA": "/l"}, ["/l/dampcell"]),
    ],
)
def test_the_token_is_looked_for_in_the_usual_places(
    platform: str, environment: Mapping[str, str], folders: list[str]
) -> None:
    assert config_folders(platform, environment) == folders


def test_extension_and_server_agree_on_the_folder_of_this_machine() -> None:
    assert config_folders()[0] == str(platformdirs.user_config_path("dampcell", appauthor=False))


Cells = st.one_of(st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=3), st.just(""))


@given(st.lists(Cells, min_size=1, max_size=6), st.integers(1001, 1200))
def test_a_long_mapped_range_loses_only_blank_rows_and_gets_them_back(cells: list[Any], rows: int) -> None:
    column = tuple((cell,) for cell in [*cells, *[""] * (rows - len(cells))])
    ((sent,), fill) = trimmed([column], ["number"])
    given = [[None if cell == "" else cell] for (cell,) in column]
    assert fill == rows
    assert len(sent) < rows  # type: ignore[arg-type] # a range is sent as a list
    assert sent + [[None]] * (rows - len(sent)) == given  # type: ignore[operator,arg-type] # as above


def test_ranges_that_do_not_fit_are_not_made_to_fit() -> None:
    long, short = ((1.0,),) * 3 + (("",),) * 1997, ((1.0,),) * 3
    sent, fill = trimmed([long, short], ["number", "number"])
    assert [len(value) for value in sent] == [2000, 3]  # type: ignore[arg-type] # ranges are lists
    assert fill == 0


def test_a_long_table_loses_its_blank_end_and_a_whole_column_is_not_filled_up() -> None:
    table = (("shim", 30.0), *[("", "")] * 5000)
    assert trimmed([table], ["table"]) == ([[["shim", 30.0]]], 0)
    whole = (*[(1.0,)] * 3, *[("",)] * (client.SHEET_ROWS - 3))
    assert trimmed([whole], ["number"]) == ([[[1.0]] * 3], 0)


def test_arguments_left_out_at_the_end_are_not_sent() -> None:
    assert trimmed([1.0, None, "a", None, None], ["number"] * 5) == ([1.0, None, "a"], 0)


class FakeSheet:
    """A sheet as LibreOffice shows it to the extension; formulas begin with an equals sign."""

    def __init__(self, name: str, cells: dict[tuple[int, int], Any]) -> None:
        self.Name = name
        self.cells = cells

    def queryContentCells(self, kinds: int) -> Any:  # noqa: N802 - LibreOffice's name
        return _Ranges(
            [place for place, cell in self.cells.items() if str(cell).startswith("=") == (kinds == 16)]
        )

    def getCellRangeByPosition(self, x: int, y: int, _x: int, _y: int) -> Any:  # noqa: N802 - as above
        return _Range(self.cells[x, y])


class _Ranges:
    def __init__(self, places: list[tuple[int, int]]) -> None:
        self.places = places

    def getRangeAddresses(self) -> list[Any]:  # noqa: N802 - as above
        return [_Address(*place) for place in self.places]


class _Address:
    def __init__(self, x: int, y: int) -> None:
        self.StartColumn = self.EndColumn = x
        self.StartRow = self.EndRow = y


class _Range:
    def __init__(self, cell: Any) -> None:
        self.cell = cell

    def getFormulaArray(self) -> Any:  # noqa: N802 - as above
        return ((self.cell,),)

    def getDataArray(self) -> Any:  # noqa: N802 - as above
        return ((self.cell,),)


class FakeDocument:
    def __init__(self, *sheets: FakeSheet) -> None:
        self.Sheets = sheets


def _looked(*sheets: FakeSheet) -> list[tuple[str, list[Any]]]:
    found: list[tuple[str, list[Any]]] = []

    def fetch(calls: list[tuple[str, list[Any]]]) -> int:
        found.extend(calls)
        return len(calls)

    ahead = Ahead("DAMP", fetch, Clock())
    for _ in range(FIRST_LOOK):
        ahead.missed(FakeDocument(*sheets))
    return found


def test_calls_with_constants_and_references_to_them_are_found_ahead() -> None:
    cells = {
        (0, 0): 1.5,
        (0, 1): "0,2 mm",
        (1, 0): '=DAMP.X(A1;$A$2;"a;""b)";-2.5E-05;;$Other.B1)',
        (1, 1): "=ROUND(DAMP.Y(A1:A3);2)+DAMP.Z()",
        (1, 2): "=DAMP.X($'My ''own'' sheet'.A1)",
        (1, 3): "=SUM(A1:A3)",
    }
    other = FakeSheet("Other", {(1, 0): 7.0})
    own = FakeSheet("My 'own' sheet", {(0, 0): 8.0})
    assert _looked(FakeSheet("S", cells), other, own) == [
        ("X", [1.5, "0,2 mm", 'a;"b)', -2.5e-05, None, 7.0]),
        ("Y", [((1.5,), ("0,2 mm",), ("",))]),
        ("Z", []),
        ("X", [8.0]),
    ]


@pytest.mark.parametrize(
    "formula",
    [
        "=DAMP.X(B1)",  # refers to a formula
        "=DAMP.X(A1:C3)",  # a formula lies within
        "=DAMP.X(A1*2)",
        "=DAMP.X(DAMP.Y)",
        "=DAMP.X(A1",
        "=DAMP.X($Nowhere.A1)",
        "=MYDAMP.X(A1)",
    ],
)
def test_what_would_have_to_be_calculated_first_is_left_alone(formula: str) -> None:
    assert _looked(FakeSheet("S", {(0, 0): 1.0, (1, 0): "=1+1", (4, 0): formula})) == []


def test_the_workbook_is_not_read_for_a_few_calls_nor_again_and_again_in_vain() -> None:
    looks: list[int] = []
    clock = Clock()

    def fetch(calls: list[tuple[str, list[Any]]]) -> int:
        looks.append(len(calls))
        return 0

    ahead = Ahead("DAMP", fetch, clock)
    for _ in range(FIRST_LOOK - 1):
        ahead.missed(FakeDocument())
    assert len(looks) == 0
    for _ in range(1 + 2 * FIRST_LOOK + 4 * FIRST_LOOK):
        ahead.missed(FakeDocument())
    assert len(looks) == 3
    for _ in range(20):
        clock.now += 5.0
        ahead.missed(FakeDocument())
    assert len(looks) == 3


def test_values_become_rows_of_cells_and_errors_the_error_values_of_the_program() -> None:
    assert as_cells(5) == ((5.0,),)
    assert as_cells([[1.5, None], ["a", True]], rows=3) == ((1.5, ""), ("a", True), ("", ""))
    ((cell,),) = as_cells({"error": {"code": "#N/A"}})
    # LibreOffice keeps the number of an error in the lower bits of a not-a-number.
    assert isinstance(cell, float)
    assert cell.hex() == "nan"
    assert [_bits(error_value(code)) for code in ("#N/A", "#VALUE!", "#NUM!", "#SPILL!")] == [
        32767,
        519,
        503,
        519,
    ]


def _bits(value: float) -> int:
    return int(struct.unpack("<Q", struct.pack("<d", value))[0] & 0xFFFFFFFF)


def test_what_runs_in_libreoffice_is_written_for_its_oldest_python_and_needs_no_library() -> None:
    allowed = {
        *("__future__", "collections", "http", "importlib", "json", "os", "re", "socket", "struct", "sys"),
        *("threading", "time", "typing", "types"),
    }
    for entry in files("dampcell.functions.hosts.calc_addin.shipped").iterdir():
        if not entry.name.endswith(".py"):
            continue
        tree = ast.parse(entry.read_text(encoding="utf-8"), feature_version=(3, 8))
        for node in ast.walk(tree):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert {name.partition(".")[0] for name in names} <= allowed
