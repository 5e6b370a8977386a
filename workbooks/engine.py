"""The one adapter around the formula engine (formualizer, pinned).

The engine computes spreadsheet formulas; the cell functions are bound to it
through the registry. It never writes a workbook. Errors of the library end
here: outside, there is only a WorkbookError, or a finding with sheet and cell.
"""

from __future__ import annotations

import datetime
import functools
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

import formualizer

import dampcell.functions.cells  # noqa: F401 - importing the families fills the registry
from dampcell.functions.errors import DampcellError, WorkbookError
from dampcell.functions.registry import NAMESPACE, REGISTRY, CellError, Outcome, evaluate
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
from dampcell.workbooks.package import LIMITS, DefinedName, Package, Sheet, Table, open_package
from dampcell.workbooks.results import CellResult, CellValue, Finding, Recalculated
from dampcell.workbooks.sheets import Area, CellSpan, address, area, formula_edit, position, splice

__all__ = ["Call", "answer", "evaluate_formula", "recalculate", "recalculate_package"]

_Result = TypeVar("_Result")
_SECONDS = 120
"""Time in which a workbook has to be computed [s]."""

_FIT = "_DAMPCELL_FIT"


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
    prepared = prepare(text, Place("", 1, 1), Surroundings(_tokens, _engine_knows), array=True)
    problems = prepared.problems + tuple(
        f"{token.text} refers to a cell, and there is no workbook here"
        for token in _tokens(text) or ()
        if token.kind == "reference" and position(token.text.rpartition("!")[2].partition(":")[0]) is not None
    )
    if problems:
        return Outcome(CellError(prepared.code or "#REF!", sentence(problems[0])))
    binding = _Binding()
    raw = _guarded(lambda: _evaluated(binding, prepared.text), "formula")
    rows = raw if isinstance(raw, list) else [[raw]]
    told = [
        [_told(binding, value, (row, column)) for column, value in enumerate(line)]
        for row, line in enumerate(rows)
    ]
    return Outcome(told if isinstance(raw, list) else told[0][0], tuple(binding.notes))


def _told(binding: _Binding, raw: object, offset: tuple[int, int]) -> CellValue:
    """Turn a value of the engine into a cell value, errors with their sentence."""
    value = scalar(raw)
    if not isinstance(value, CellError):
        return value
    return binding.sentence(value.code, offset) or plain_error(raw, value.code)


@dataclass(slots=True)
class _Binding:
    """Our functions as the engine calls them, with a log of what they said."""

    errors: list[CellError] = field(default_factory=list)
    notes: dict[str, None] = field(default_factory=dict)
    noted: set[str] = field(default_factory=set)
    last: object = None
    interrupted: bool = False
    overdue: bool = False
    started: float = field(default_factory=lambda: time.monotonic())

    def clear(self) -> None:
        self.errors.clear()
        self.notes.clear()
        self.last = None

    def sentence(self, code: str, offset: tuple[int, int]) -> CellError | None:
        """The error that was given with this code: at this place of a table, else the last one."""
        row, column = offset
        if isinstance(self.last, list) and row < len(self.last) and column < len(self.last[row]):
            here = self.last[row][column]
            if isinstance(here, CellError) and here.code == code and here.message:
                return here
        return next((error for error in reversed(self.errors) if error.code == code and error.message), None)

    def register(self, book: Any) -> None:
        for name in REGISTRY:
            book.register_function(
                f"{NAMESPACE}.{name}", functools.partial(self.call, name, book), min_args=0, max_args=None
            )
        book.register_function(_FIT, fitted, min_args=3, max_args=3)

    def call(self, name: str, book: Any, *arguments: object) -> object:
        if time.monotonic() - self.started > _SECONDS:
            # The engine minds its own time limit between formulas only, so ours is kept here as well.
            self.overdue = True
            book.cancel()
            return handed_back(CellError("#VALUE!"))
        try:
            outcome = answer(Call(f"{name}{arguments!r}", name, arguments))
        except KeyboardInterrupt:
            # The engine would swallow it: remember it, and stop the engine.
            self.interrupted = True
            book.cancel()
            outcome = Outcome(CellError("#VALUE!", "interrupted."))
        except Exception as error:
            # A fault of ours must neither end the engine nor pass for a value.
            told = (
                f"{NAMESPACE}.{name} failed ({type(error).__name__}: {error}); this is a fault in Dampcell."
            )
            outcome = Outcome(CellError("#VALUE!", told))
        self.last = outcome.value
        rows = outcome.value if isinstance(outcome.value, list) else [[outcome.value]]
        self.errors += [cell for row in rows for cell in row if isinstance(cell, CellError)]
        if outcome.notes:
            self.noted.add(name)
            self.notes.update(dict.fromkeys(outcome.notes))
        return handed_back(outcome.value)


@dataclass(frozen=True, slots=True)
class Call:
    """A call of one of our functions as the engine makes it; its text stands for it in comparisons."""

    text: str
    name: str = field(compare=False)
    arguments: tuple[object, ...] = field(compare=False)


@functools.lru_cache(maxsize=4096)
def answer(call: Call) -> Outcome:
    """Answer a call, once: many jobs of a workshop hold the same stack, valve or oil.

    The functions are pure, so what was asked before cannot change an answer.

    Parameters
    ----------
    call : Call
        Function and arguments.

    Returns
    -------
    Outcome
    """
    declared = REGISTRY[call.name].arguments
    given = [
        argument(value, declared[min(index, len(declared) - 1)].name if declared else "")
        for index, value in enumerate(call.arguments)
    ]
    return evaluate(call.name, given)


@functools.lru_cache(maxsize=8)
def _surroundings(tables: tuple[Table, ...], names: tuple[DefinedName, ...]) -> Surroundings:
    return Surroundings(_tokens, _engine_knows, tables, names)


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
        _guarded(lambda: self._evaluate(book), self.package.file)
        values = _guarded(lambda: [self._value(book, cell) for cell in self.cells], self.package.file)
        results = _guarded(lambda: self._results(book, values), self.package.file)
        return Recalculated(self.package.file, results, tuple(self.findings))

    def _prepared_sheet(self, sheet: Sheet) -> bytes:
        """Rewrite a sheet for the engine, and note its formula cells."""
        scanned = self.package.scan(sheet)
        xml, spans = scanned.xml, scanned.cells
        around = _surroundings(self.package.tables, self.package.names)
        shared: dict[str | None, Prepared] = {}
        edits = []
        for span in spans:
            place = Place(sheet.name, span.row, span.column)
            formula = span.formula
            if formula is None:
                # A saved cell of an array stands in the way of the array when it is computed anew.
                edits.append(formula_edit(xml, span, None))
                self.cells.append(_Cell(span, sheet.name, None, None, ""))
                continue
            if formula.kind == "shared" and not formula.text:
                prepared = shared.get(formula.shared_index, Prepared(""))
            elif formula.kind == "dataTable":
                prepared = Prepared("", problems=("what-if tables cannot be computed here",), code="#N/A")
            else:
                prepared = _prepared(formula.text, place, around, array=formula.kind == "array")
                if formula.kind == "shared":
                    shared[formula.shared_index] = prepared
            self.cells.append(_Cell(span, sheet.name, prepared, formula.area, formula.text))
            self.findings += [self._finding(place, problem) for problem in prepared.problems]
            if formula.text or formula.kind == "dataTable":
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
        self.binding.register(book)
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

    def _results(self, book: Any, values: Sequence[object]) -> dict[tuple[str, str], CellResult]:
        """Put values, sentences and notes together.

        The engine does not say which cell calls a function. So each formula in
        question is put once more into a cell at the sheet's far edge, on which
        nothing depends, and computed there with an empty log.
        """
        results: dict[tuple[str, str], CellResult] = {}
        arrays: dict[tuple[str, int, int], _Binding] = {}
        shown = [scalar(raw) for raw in values]
        failed = {
            (cell.sheet, *(cell.span.anchor or (cell.span.row, cell.span.column)))
            for cell, value in zip(self.cells, shown, strict=True)
            if isinstance(value, CellError)
        }
        for cell, raw, value in zip(self.cells, values, shown, strict=True):
            span, prepared = cell.span, cell.prepared
            top, left = span.anchor or (span.row, span.column)
            log = arrays.get((cell.sheet, top, left)) if prepared is None else None
            if (
                prepared is not None
                and not prepared.problems
                and self._asks(prepared, (cell.sheet, top, left) in failed)
            ):
                log = self._again(book, cell)
                if cell.area is not None:
                    arrays[cell.sheet, top, left] = log
            notes = tuple(log.notes) if log is not None and prepared is not None else ()
            if isinstance(value, CellError):
                told = (
                    log.sentence(value.code, (span.row - top, span.column - left))
                    if log is not None
                    else None
                )
                if prepared is not None and prepared.problems:
                    told = CellError(prepared.code, sentence(prepared.problems[0]))
                value = told or plain_error(raw, value.code)
            place = (cell.sheet, span.address)
            results[place] = CellResult(*place, cell.formula, value, self.package.saved(span), notes)
        return results

    def _asks(self, prepared: Prepared, failed: bool) -> bool:
        """Whether the functions of a cell have to be asked what they had to say."""
        return bool(prepared.calls) and (failed or bool(prepared.calls & self.binding.noted))

    def _again(self, book: Any, cell: _Cell) -> _Binding:
        self.binding.clear()
        row, column = cell.span.row, cell.span.column
        aside = 16_384 if column != 16_384 else 16_383
        formula = book.get_formula(cell.sheet, row, column)
        if formula is not None:
            book.set_formula(cell.sheet, row, aside, f"=@({formula.removeprefix('=')})")
            book.evaluate_cell(cell.sheet, row, aside)
            book.set_value(cell.sheet, row, aside, None)
        return _Binding(
            errors=list(self.binding.errors), notes=dict(self.binding.notes), last=self.binding.last
        )


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


_OPERAND, _CALL = formualizer.TokenType.Operand, formualizer.TokenType.Func
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
            kind = "function" if token.token_type == _CALL else "open"
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
    binding.register(book)
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


def _offset(moment: datetime.datetime) -> int:
    offset = moment.utcoffset()
    return int(offset.total_seconds()) if offset is not None else 0
