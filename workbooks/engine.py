"""The one adapter around the formula engine (formualizer, pinned).

The engine computes spreadsheet formulas; the cell functions are bound to it
through the registry. It never writes a workbook. Errors of the library end
here: outside, there is only a WorkbookError, or a finding with sheet and cell.
"""

from __future__ import annotations

import contextlib
import datetime
import functools
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

import formualizer

import dampcell.functions.cells  # noqa: F401 - importing the families fills the registry
from dampcell.functions.errors import DampcellError, WorkbookError
from dampcell.functions.registry import NAMESPACE, REGISTRY, CellError, Outcome
from dampcell.workbooks.exchange import (
    NOT_COMPUTED,
    argument,
    fitted,
    handed_back,
    kind_of,
    plain_error,
    scalar,
    sentence,
)
from dampcell.workbooks.formulas import Place, Prepared, Surroundings, Token, TokenKind, prepare
from dampcell.workbooks.memory import remembered
from dampcell.workbooks.package import LIMITS, DefinedName, Package, Sheet, Table, open_package
from dampcell.workbooks.results import CellResult, CellValue, Finding, Recalculated
from dampcell.workbooks.sheets import (
    Area,
    CellSpan,
    FormulaSpan,
    address,
    area,
    formula_edit,
    position,
    splice,
)

__all__ = ["evaluate_formula", "recalculate", "recalculate_package"]

_Result = TypeVar("_Result")
_SECONDS = 120
"""Time in which a workbook has to be computed [s]."""

_LARGEST_ARRAY = 100_000
"""Cells that one array formula may fill [-]."""

_FIT, _CALL = "_DAMPCELL_FIT", "_DAMPCELL_CALL"


def recalculate(data: bytes, file: str, *, now: datetime.datetime | None = None) -> Recalculated:
    """Recalculate every formula of a workbook from its inputs.

    Parameters
    ----------
    data : bytes
        The workbook file; it is only read.
    file : text
        Its name, for messages.
    now : datetime, optional
        Moment that TODAY() and NOW() give, with its time zone; if left out, the clock says.

    Returns
    -------
    Recalculated
        A typed value for each formula cell and each cell of an array formula,
        with the sentence of each error, and findings for what cannot be computed.

    Raises
    ------
    WorkbookError
        If the file is no usable workbook.
    """
    return recalculate_package(open_package(data, file), now=now)


def recalculate_package(package: Package, *, now: datetime.datetime | None = None) -> Recalculated:
    """Recalculate every formula of an opened workbook; see `recalculate`."""
    return _Job(package).run(now)


def evaluate_formula(formula: str) -> Outcome:
    """Evaluate one formula without any workbook.

    Parameters
    ----------
    formula : text
        With or without equals sign, function names in any case; ordinary
        spreadsheet functions and array constants may be used.

    Returns
    -------
    Outcome
        Scalar or rows; an error carries its sentence, and notes belong to the value.
    """
    text = formula.strip().removeprefix("=").strip()
    if not text:
        return Outcome(CellError("#VALUE!", "there is no formula."))
    prepared = prepare(text, _NOWHERE, _surroundings(), array=True)
    problems = prepared.problems + tuple(
        f"{token.text} refers to a cell, and there is no workbook here"
        for token in _tokens(text) or ()
        if token.kind == "reference" and position(token.text.rpartition("!")[2].partition(":")[0]) is not None
    )
    if problems:
        return Outcome(CellError(prepared.code or "#REF!", sentence(problems[0])))
    binding = _Binding()
    raw = _guarded(lambda: _evaluated(binding, prepared.text), "formula")
    log = binding.log(_NOWHERE)
    rows = raw if isinstance(raw, list) else [[raw]]
    told = [
        [_told(log, value, (row, column)) for column, value in enumerate(line)]
        for row, line in enumerate(rows)
    ]
    return Outcome(told if isinstance(raw, list) else told[0][0], log.notes)


def _told(log: _Log, raw: object, offset: tuple[int, int]) -> CellValue:
    """Turn a value of the engine into a cell value, errors with their sentence."""
    value = scalar(raw)
    if not isinstance(value, CellError):
        return value
    return log.sentence(value.code, offset) or plain_error(raw, value.code)


@dataclass(slots=True)
class _Log:
    """What our functions said when one cell called them."""

    outcomes: list[Outcome] = field(default_factory=list)

    @property
    def notes(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(note for outcome in self.outcomes for note in outcome.notes))

    def sentence(self, code: str, offset: tuple[int, int]) -> CellError | None:
        """The error that was given with this code: at this place of a table, else the last one."""
        row, column = offset
        last = self.outcomes[-1].value if self.outcomes else None
        if isinstance(last, list) and row < len(last) and column < len(last[row]):
            here = last[row][column]
            if isinstance(here, CellError) and here.code == code and here.message:
                return here
        for outcome in reversed(self.outcomes):
            rows = outcome.value if isinstance(outcome.value, list) else [[outcome.value]]
            for cell in (cell for line in reversed(rows) for cell in reversed(line)):
                if isinstance(cell, CellError) and cell.code == code and cell.message:
                    return cell
        return None


_NOTHING_SAID = _Log()
_NOWHERE = Place("", 1, 1)


@dataclass(slots=True)
class _Binding:
    """Our functions as the engine calls them, with a log of what they said to each cell."""

    logs: dict[str, _Log] = field(default_factory=dict)
    book: Any = None
    interrupted: bool = False
    overdue: bool = False
    started: float = field(default_factory=lambda: time.monotonic())

    def log(self, place: Place) -> _Log:
        """What was said to one cell."""
        return self.logs.get(_tag(place), _NOTHING_SAID)

    @contextlib.contextmanager
    def bound(self, book: Any) -> Iterator[None]:
        """Let a workbook of the engine call our functions for a while.

        The workbook holds on to what it may call, out of sight of Python's garbage collection: if
        that held the workbook in turn for ever, none would ever be given back.
        """
        self.book = book
        book.register_function(_CALL, self.call, min_args=2, max_args=None)
        book.register_function(_FIT, fitted, min_args=3, max_args=3)
        try:
            yield
        finally:
            self.book = None

    def call(self, tag: str, name: str, *arguments: object) -> object:
        if time.monotonic() - self.started > _SECONDS:
            # The engine minds its own time limit between formulas only, so ours is kept here as well.
            self.overdue = True
            self.book.cancel()
            return handed_back(CellError("#VALUE!"))
        try:
            text = repr(arguments)
            # Errors come as mappings; looking for one in the text is far cheaper than in the cells.
            given = arguments if "{" not in text else _converted(name, arguments)
            outcome = remembered(name, given, text if given is arguments else None)
        except KeyboardInterrupt:
            # The engine would swallow it: remember it, and stop the engine.
            self.interrupted = True
            self.book.cancel()
            outcome = Outcome(CellError("#VALUE!", "interrupted."))
        except Exception as error:
            # A fault of ours must neither end the engine nor pass for a value.
            told = (
                f"{NAMESPACE}.{name} failed ({type(error).__name__}: {error}); this is a fault in Dampcell."
            )
            outcome = Outcome(CellError("#VALUE!", told))
        self.logs.setdefault(tag, _Log()).outcomes.append(outcome)
        return handed_back(outcome.value)


def _converted(name: str, arguments: Sequence[object]) -> tuple[object, ...]:
    """Turn what the engine hands over into what the functions take."""
    declared = REGISTRY[name].arguments
    return tuple(
        argument(value, declared[min(index, len(declared) - 1)].name if declared else "")
        for index, value in enumerate(arguments)
    )


def _tag(place: Place) -> str:
    """How a cell is called in the log."""
    return f"{place.sheet}!{address(place.row, place.column)}"


def _head(place: Place, name: str) -> str:
    """Begin a call of one of our functions: the engine does not say which cell calls, so the formula does."""
    return f"""{_CALL}("{_tag(place).replace('"', '""')}","{name}","""


@functools.lru_cache(maxsize=8)
def _surroundings(tables: tuple[Table, ...] = (), names: tuple[DefinedName, ...] = ()) -> Surroundings:
    return Surroundings(_tokens, _engine_knows, tables, names, _head)


# Workbooks of one template hold the same formulas in the same places, under the same names.
_prepared = functools.lru_cache(maxsize=1 << 15)(prepare)


@dataclass(slots=True)
class _Cell:
    """A formula cell on its way through the engine."""

    span: CellSpan
    sheet: str
    prepared: Prepared | None
    area: Area | None
    formula: str


@dataclass(slots=True)
class _Job:
    package: Package
    binding: _Binding = field(default_factory=_Binding)
    cells: list[_Cell] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def run(self, now: datetime.datetime | None) -> Recalculated:
        parts = {sheet.part: self._prepared_sheet(sheet) for sheet in self.package.sheets}
        data = self.package.rewritten(parts, compressed=False)
        book = _guarded(lambda: self._load(data, now), self.package.file)
        with self.binding.bound(book):
            _guarded(lambda: self._evaluate(book), self.package.file)
            values = _guarded(lambda: [self._value(book, cell) for cell in self.cells], self.package.file)
        results = self._results(values)
        return Recalculated(self.package.file, results, tuple(self.findings))

    def _prepared_sheet(self, sheet: Sheet) -> bytes:
        """Rewrite a sheet for the engine, and note its formula cells."""
        scanned = self.package.scan(sheet)
        xml, spans = scanned.xml, scanned.cells
        around = _surroundings(self.package.tables, self.package.names)
        shared: dict[str | None, tuple[str, str]] = {}
        edits = []
        for span in spans:
            place = Place(sheet.name, span.row, span.column)
            formula = span.formula
            if formula is None:
                # A saved cell of an array stands in the way of the array when it is computed anew.
                edits.append(formula_edit(xml, span, None))
                self.cells.append(_Cell(span, sheet.name, None, None, ""))
                continue
            text = formula.text
            if formula.kind == "shared":
                text = _unshared(formula, span.address, shared)
            if formula.kind == "dataTable":
                prepared = Prepared("", problems=("what-if tables cannot be computed here",), code="#N/A")
            elif formula.kind == "array" and _cells_of(formula.area) > _LARGEST_ARRAY:
                problem = f"an array formula over more than {_LARGEST_ARRAY:,} cells cannot be computed here"
                prepared = Prepared("", problems=(problem,), code="#N/A")
            else:
                prepared = _prepared(text, place, around, array=formula.kind == "array")
            self.cells.append(_Cell(span, sheet.name, prepared, formula.area, formula.text))
            self.findings += [self._finding(place, problem) for problem in prepared.problems]
            if text or prepared.problems:
                edits.append(formula_edit(xml, span, _for_engine(prepared, span)))
        return splice(xml, edits)

    def _finding(self, place: Place, problem: str) -> Finding:
        return Finding(self.package.file, place.sheet, address(place.row, place.column), problem)

    def _load(self, data: bytes, now: datetime.datetime | None) -> Any:
        config = formualizer.EvaluationConfig()
        config.date_system = "1904" if self.package.date1904 else "1900"
        config.max_eval_time_ms = _SECONDS * 1000
        # Our functions hold the interpreter: threads would only wait for each other.
        config.enable_parallel = False
        book = formualizer.Workbook.from_bytes(
            data,
            config=formualizer.WorkbookConfig(eval_config=config),
            load_limits={
                "max_input_bytes": 2 * LIMITS.unpacked,
                "max_entries": LIMITS.parts,
                "max_expanded_bytes": 2 * LIMITS.unpacked,
                "max_part_bytes": 2 * LIMITS.part,
                "max_xml_depth": 64,
            },
        )
        book.set_temporal_egress("serial")
        if now is not None:
            book.set_deterministic_clock(now.astimezone(datetime.UTC), _offset(now))
        return book

    def _evaluate(self, book: Any) -> None:
        try:
            book.evaluate_all()
        except formualizer.ExcelEvaluationError:
            self._check_stopped()
            # One formula stops all: find it, show an error value there, and go on.
            for cell in self.cells:
                if cell.prepared is not None:
                    self._evaluate_alone(book, cell)
            book.evaluate_all()
        self._check_stopped()

    def _check_stopped(self) -> None:
        if self.binding.interrupted:
            raise KeyboardInterrupt
        if self.binding.overdue:
            raise WorkbookError(
                f"takes longer than {_SECONDS} s to compute",
                file=self.package.file,
                allowed="a workbook with fewer or shorter formulas",
            )

    def _evaluate_alone(self, book: Any, cell: _Cell) -> None:
        row, column = cell.span.row, cell.span.column
        try:
            book.evaluate_cell(cell.sheet, row, column)
        except formualizer.ExcelEvaluationError as error:
            book.set_formula(cell.sheet, row, column, "=#NAME?")
            place = Place(cell.sheet, row, column)
            self.findings.append(self._finding(place, f"the formula cannot be computed here ({error})"))

    def _value(self, book: Any, cell: _Cell) -> object:
        value = book.get_value(cell.sheet, cell.span.row, cell.span.column)
        prepared, place = cell.prepared, Place(cell.sheet, cell.span.row, cell.span.column)
        if prepared is None or prepared.problems:
            return value
        kind = kind_of(value)
        if kind in NOT_COMPUTED:
            self.findings.append(self._finding(place, NOT_COMPUTED[kind]))
        if cell.span.dynamic and cell.area is not None:
            self._check_extent(book, cell, place)
        return 0.0 if value is None else value

    def _check_extent(self, book: Any, cell: _Cell, place: Place) -> None:
        extent = _extent(book, cell.sheet, cell.span.address)
        assert cell.area is not None
        if extent is not None and (extent[2] > cell.area[2] or extent[3] > cell.area[3]):
            rows, columns = extent[2] - extent[0] + 1, extent[3] - extent[1] + 1
            self.findings.append(
                self._finding(
                    place,
                    f"the result has grown to {rows} rows and {columns} columns; open the workbook in a"
                    " spreadsheet program and save it, so that all of it has its cells",
                )
            )

    def _results(self, values: Sequence[object]) -> dict[tuple[str, str], CellResult]:
        """Put values, sentences and notes together."""
        results: dict[tuple[str, str], CellResult] = {}
        for cell, raw in zip(self.cells, values, strict=True):
            span, prepared = cell.span, cell.prepared
            top, left = span.anchor or (span.row, span.column)
            log = self.binding.log(Place(cell.sheet, top, left))
            value = scalar(raw)
            if isinstance(value, CellError):
                if prepared is not None and prepared.problems:
                    value = CellError(prepared.code, sentence(prepared.problems[0]))
                else:
                    told = log.sentence(value.code, (span.row - top, span.column - left))
                    value = told or plain_error(raw, value.code)
            notes = log.notes if prepared is not None else ()
            place = (cell.sheet, span.address)
            results[place] = CellResult(*place, cell.formula, value, self.package.saved(span), notes)
        return results


def _guarded(step: Callable[[], _Result], file: str) -> _Result:
    """Let no error of the engine out, whatever its class (its panics are no ordinary exceptions)."""
    try:
        return step()
    except (DampcellError, KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as error:
        told = str(error).splitlines()[0][:200] if str(error) else type(error).__name__
        raise WorkbookError(
            f"the formulas cannot be computed ({told})",
            file=file,
            allowed="a workbook that opens in a spreadsheet program; save it there again as .xlsx",
        ) from None


_OPERAND, _FUNCTION = formualizer.TokenType.Operand, formualizer.TokenType.Func
_RANGE, _OPEN, _CLOSE = (
    formualizer.TokenSubType.Range,
    formualizer.TokenSubType.Open,
    formualizer.TokenSubType.Close,
)


def _tokens(formula: str) -> list[Token] | None:
    """Take a formula apart; only the tokens that may have to be replaced."""
    try:
        formualizer.parse(f"={formula}")
        found = formualizer.tokenize(f"={formula}").tokens()
    except (formualizer.TokenizerError, formualizer.ParserError, ValueError):
        return None
    tokens: list[Token] = []
    for token in found:
        subtype = token.subtype
        kind: TokenKind
        if subtype == _RANGE and token.token_type == _OPERAND:
            kind = "reference"
        elif subtype == _OPEN:
            kind = "function" if token.token_type == _FUNCTION else "open"
        elif subtype == _CLOSE:
            kind = "close"
        else:
            continue
        # Offsets count bytes and include the equals sign that was put before.
        tokens.append(Token(kind, token.value, token.start - 1, token.end - 1))
    return tokens


@functools.cache
def _engine_knows(name: str) -> bool:
    """Whether the engine has a function: a call of an unknown one is a name error."""
    book = _empty()
    try:
        book.set_formula("cell", 1, 1, f"={name}()")
        return kind_of(book.evaluate_cell("cell", 1, 1)) != "Name"
    except (formualizer.ExcelEvaluationError, formualizer.ParserError, ValueError, OSError):
        return False


def _empty() -> Any:
    book = formualizer.Workbook()
    book.add_sheet("cell")
    book.set_temporal_egress("serial")
    return book


def _evaluated(binding: _Binding, formula: str) -> object:
    """Evaluate in an empty workbook: a scalar, or rows."""
    book = _empty()
    with binding.bound(book):
        book.set_formula("cell", 1, 1, f"={formula}")
        value = book.evaluate_cell("cell", 1, 1)
    if binding.interrupted:
        raise KeyboardInterrupt
    extent = _extent(book, "cell", "A1")
    if extent is None:
        return value
    return book.sheet("cell").get_values(formualizer.RangeAddress("cell", *extent))


def _extent(book: Any, sheet: str, cell: str) -> Area | None:
    quoted = "'" + sheet.replace("'", "''") + "'"
    role = book.inspect_cell(f"{quoted}!{cell}", include_values=False).cell.spill
    return area(role.extent.rpartition("!")[2]) if role is not None and role.extent else None


def _unshared(formula: FormulaSpan, cell: str, shared: dict[str | None, tuple[str, str]]) -> str:
    """Write a shared formula out for one cell of those that share it; the first of them holds its text."""
    # Slow to import, and few workbooks need it.
    from openpyxl.formula.translate import Translator

    if formula.text:
        shared[formula.shared_index] = (formula.text, cell)
    text, origin = shared.get(formula.shared_index, ("", cell))
    return Translator(f"={text}", origin).translate_formula(cell)[1:] if text else ""


def _for_engine(prepared: Prepared, span: CellSpan) -> str:
    if prepared.problems:
        return prepared.code
    formula = span.formula
    if formula is not None and formula.kind == "array" and formula.area is not None:
        if span.dynamic:
            return prepared.text
        top, left, bottom, right = formula.area
        return f"{_FIT}({prepared.text}, {bottom - top + 1}, {right - left + 1})"
    # In an ordinary formula a spreadsheet shows one value, never a table.
    return prepared.text if prepared.plain else f"@({prepared.text})"


def _cells_of(corners: Area | None) -> int:
    return 0 if corners is None else (corners[2] - corners[0] + 1) * (corners[3] - corners[1] + 1)


def _offset(moment: datetime.datetime) -> int:
    offset = moment.utcoffset()
    return int(offset.total_seconds()) if offset is not None else 0
