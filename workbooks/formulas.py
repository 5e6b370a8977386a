"""What has to be done to a saved formula before the engine reads it.

The engine knows no table references, no other workbooks, and not every
function. Formulas are taken apart by the engine's own tokenizer; here tokens
are replaced, and what cannot be computed is named.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from dampcell.functions.errors import InputError
from dampcell.functions.registry import NAMESPACE, REGISTRY, lookup
from dampcell.workbooks.package import DefinedName, Table
from dampcell.workbooks.sheets import address, position

__all__ = ["Place", "Prepared", "Surroundings", "Token", "prepare"]

TokenKind = Literal["reference", "function", "open", "close"]


class Token(NamedTuple):
    """A piece of a formula; ``text`` of a function ends with its opening parenthesis.

    A tuple, because a workbook has very many of them.
    """

    kind: TokenKind
    text: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Place:
    """Where a formula stands; row and column count from 1."""

    sheet: str
    row: int
    column: int


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What a formula may refer to, and how it is taken apart; equal only to itself.

    Parameters
    ----------
    tokens : callable
        Takes a formula without equals sign apart; None if it cannot be read.
    knows : callable
        Whether the engine has a function of this name.
    tables : sequence of Table
        Tables of the workbook.
    names : sequence of DefinedName
        Defined names of the workbook.
    call : callable, optional
        Writes the head of a call of one of our functions, from the cell and the name of the
        function, up to its first argument; as in a spreadsheet if left out.
    """

    tokens: Callable[[str], Sequence[Token] | None]
    knows: Callable[[str], bool]
    tables: Sequence[Table] = ()
    names: Sequence[DefinedName] = ()
    call: Callable[[Place, str], str] = field(default=lambda _, name: f"{NAMESPACE}.{name}(")
    _tables: Mapping[str, Table] = field(init=False)
    _names: Mapping[tuple[str, str | None], DefinedName] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_tables", {table.name.casefold(): table for table in self.tables})
        object.__setattr__(self, "_names", {(n.name.casefold(), n.sheet): n for n in self.names})

    def table(self, name: str, place: Place) -> Table | None:
        """Find a table by name; without a name, the one around the formula."""
        if name:
            return self._tables.get(name.casefold())
        return next((table for table in self.tables if _inside(place, table)), None)

    def name(self, name: str, place: Place) -> DefinedName | None:
        """Find a defined name, that of the sheet before that of the workbook."""
        key = name.casefold()
        return self._names.get((key, place.sheet)) or self._names.get((key, None))


@dataclass(frozen=True, slots=True)
class Prepared:
    """A formula ready for the engine.

    ``problems`` says what in it cannot be computed; ``code`` is then the error
    value that it shows; ``calls`` are the cell functions of ours that it uses.
    """

    text: str
    calls: frozenset[str] = frozenset()
    problems: tuple[str, ...] = ()
    code: str = ""
    plain: bool = False


_PLAIN_REFERENCE = re.compile(r"\$?[A-Z]{1,3}\$?[0-9]+(:\$?[A-Z]{1,3}\$?[0-9]+)?")
_FUNCTION_PREFIX = re.compile(r"(?:_xll\.|_xludf\.|_xldudf_|_xlfn\.|_xlws\.)*", re.IGNORECASE)
_OURS = re.compile(rf"{NAMESPACE}[._](\w+)", re.IGNORECASE)
_ITEM = re.compile(r"\s*\[((?:'.|[^\[\]'])*)\]\s*(:|,|$)")
_NAME = re.compile(r"[^\W\d][\w.\\?]*")
_DEEPEST = 8


def prepare(
    formula: str, place: Place, around: Surroundings, *, array: bool = False, depth: int = 0
) -> Prepared:
    """Rewrite a saved formula for the engine.

    Parameters
    ----------
    formula : text
        As it stands in the file, without equals sign.
    place : Place
        Cell of the formula.
    around : Surroundings
        Tables, names and tokenizer.
    array : bool
        Whether it is an array formula; in an ordinary one a lone range means
        the cell of it in the same row or column.
    depth : int
        How many defined names it was reached through.

    Returns
    -------
    Prepared
    """
    tokens = around.tokens(formula)
    if tokens is None:
        return Prepared(formula, problems=("the formula cannot be read",), code="#NAME?")
    work = _Work(place, around, array, depth, _own_names(tokens))
    source = formula.encode()
    pieces: list[bytes] = []
    done = 0
    before: Token | None = None
    for token in tokens:
        text = work.replace(token, before)
        if text.endswith(",") and source[token.end :].lstrip().startswith(b")"):
            # A call without arguments, after a head that brings some of its own.
            text = text[:-1]
        if text != token.text:
            pieces += (source[done : token.start], text.encode())
            done = token.end
        if token.kind == "function" and token.text.upper().endswith("AGGREGATE("):
            function = re.match(rb"\s*(\d+)", source[token.end :])
            if function is not None and int(function[1]) >= 14:
                work.trouble("AGGREGATE with function numbers from 14 on cannot be computed here", "#NAME?")
        before = token
    text = b"".join([*pieces, source[done:]]).decode()
    return Prepared(text, frozenset(work.calls), tuple(work.problems), work.code, not work.composed)


@dataclass(slots=True)
class _Work:
    place: Place
    around: Surroundings
    array: bool
    depth: int
    locals: set[str]
    calls: set[str] = field(default_factory=set)
    problems: list[str] = field(default_factory=list)
    code: str = ""
    nesting: int = 0
    composed: bool = False
    """Whether the result may be more than one value."""

    def trouble(self, problem: str, code: str) -> None:
        if problem not in self.problems:
            self.problems.append(problem)
        self.code = self.code or code

    def replace(self, token: Token, before: Token | None) -> str:
        if token.kind == "function":
            self.nesting += 1
            self.composed = True
            return self._function(token)
        if token.kind == "close":
            self.nesting -= 1
        elif token.kind == "open":
            self.nesting += 1
            self.composed |= token.text == "{"
            if before is not None and before.kind == "close" and before.end == token.start:
                self.trouble("a LAMBDA that is called in place cannot be computed here", "#NAME?")
        elif token.kind == "reference":
            plain = _PLAIN_REFERENCE.fullmatch(token.text)
            if plain is not None:
                self.composed |= plain[1] is not None
                return f"@{token.text}" if plain[1] and not self.array and self.nesting == 0 else token.text
            text = self._reference(token.text)
            lone = ":" in text and not self.array and self.nesting == 0 and text == token.text
            self.composed |= ":" in text or text != token.text or not re.search(r"\d", text)
            return f"@{text}" if lone else text
        return token.text

    def _function(self, token: Token) -> str:
        name = _bare(token)
        ours = _OURS.fullmatch(name)
        if ours is not None:
            key = ours[1].upper()
            if key not in REGISTRY:
                self.trouble(_no_such_function(key), "#NAME?")
            self.calls.add(key)
            return self.around.call(self.place, key)
        if name.upper() == "SINGLE":
            return "@("
        if name.casefold() in self.locals or self.around.name(name, self.place):
            return token.text
        if "!" in token.text or not self.around.knows(name):
            meant = f": did you mean {NAMESPACE}.{name.upper()}?" if name.upper() in REGISTRY else ""
            self.trouble(f"the function {name.upper()} cannot be computed here{meant}", "#NAME?")
        return f"{name}("

    def _reference(self, text: str) -> str:
        sheet, _, local = text.rpartition("!")
        if "[" in sheet:
            self.trouble(f"{text} refers to another workbook, which is not read", "#REF!")
            return "#REF!"
        if ":" in sheet.strip("'"):
            self.trouble(
                f"{text} refers to the same cell of several sheets, which cannot be computed here", "#REF!"
            )
            return "#REF!"
        if "[" in local:
            return self._structured(local)
        table = self.around.table(local, self.place) if local and not sheet else None
        if table is not None:
            return _absolute(table, _rows(table, set(), self.place), 0, len(table.columns) - 1)
        name = self.around.name(text, self.place)
        if name is None and not self.locals and _NAME.fullmatch(text) and position(text) is None:
            self.trouble(f"the name {text} is not defined", "#NAME?")
        if name is None or _OURS.search(name.refers_to) is None:
            return text
        if self.depth >= _DEEPEST:
            self.trouble(f"the name {text} refers to itself", "#NAME?")
            return "#NAME?"
        # The engine reads names before it knows our functions, so what it stands for is put in.
        inner = prepare(name.refers_to.lstrip("="), self.place, self.around, array=True, depth=self.depth + 1)
        self.calls |= inner.calls
        for problem in inner.problems:
            self.trouble(problem, inner.code)
        return f"({inner.text})"

    def _structured(self, text: str) -> str:
        name, _, rest = text.partition("[")
        table = self.around.table(name, self.place)
        if table is None:
            self.trouble(f"{text} refers to a table that is not there", "#REF!")
            return "#REF!"
        specials, columns = _specification(rest[:-1].strip())
        known = {column.casefold(): index for index, column in enumerate(table.columns)}
        unknown = [column for column in columns if column.casefold() not in known]
        rows = _rows(table, specials, self.place)
        if unknown:
            self.trouble(f'the table {table.name} has no column "{unknown[0]}"', "#REF!")
            return "#REF!"
        if rows is None:
            # As in a spreadsheet: this row, asked for outside the table, or a total row that is not there.
            return "#VALUE!" if "#this row" in specials else "#REF!"
        places = [known[column.casefold()] for column in columns] or [0, len(table.columns) - 1]
        return _absolute(table, rows, min(places), max(places))


def _bare(token: Token) -> str:
    name = token.text[:-1].rpartition("!")[2]
    return name[_FUNCTION_PREFIX.match(name).end() :]  # type: ignore[union-attr] # the pattern matches anything


def _no_such_function(key: str) -> str:
    try:
        lookup(key)
    except InputError as error:
        return error.problem
    return ""


def _own_names(tokens: Sequence[Token]) -> set[str]:
    """Names that LET and LAMBDA may make within the formula."""
    if not any(token.kind == "function" and _bare(token).upper() in ("LET", "LAMBDA") for token in tokens):
        return set()
    return {token.text.casefold() for token in tokens if token.kind == "reference"}


def _inside(place: Place, table: Table) -> bool:
    top, left, bottom, right = table.area
    return table.sheet == place.sheet and top <= place.row <= bottom and left <= place.column <= right


def _specification(text: str) -> tuple[set[str], list[str]]:
    """Read what stands between the brackets of a table reference: special items, and columns."""
    if text.startswith("@"):
        inner, named = _specification(text[1:].strip())
        return inner | {"#this row"}, named
    if not text.startswith("["):
        if text.startswith("#"):
            return {text.casefold()}, []
        return set(), [re.sub("'(.)", r"\1", text)] if text else []
    specials: set[str] = set()
    columns: list[str] = []
    for found in _ITEM.finditer(text):
        item = found[1].strip()
        if item.startswith("#"):
            specials.add(item.casefold())
        elif item == "@":
            specials.add("#this row")
        else:
            columns.append(re.sub("'(.)", r"\1", item))
    return specials, columns


def _rows(table: Table, specials: set[str], place: Place) -> tuple[int, int, bool] | None:
    """First and last row, and whether it is the row of the formula."""
    top, _, bottom, _ = table.area
    first, last = top + table.header_rows, bottom - table.total_rows
    if "#this row" in specials:
        inside = place.sheet == table.sheet and first <= place.row <= last
        return (place.row, place.row, True) if inside else None
    if "#all" in specials:
        return top, bottom, False
    parts = {
        "#headers": (top, first - 1),
        "#data": (first, last),
        "#totals": (last + 1, bottom),
    }
    wanted = [parts[special] for special in specials & parts.keys()] or [(first, last)]
    wanted = [part for part in wanted if part[0] <= part[1]]
    if not wanted:
        return None
    return min(part[0] for part in wanted), max(part[1] for part in wanted), False


def _absolute(table: Table, rows: tuple[int, int, bool] | None, first: int, last: int) -> str:
    if rows is None:
        return "#REF!"
    top, bottom, moves = rows
    left = table.area[1]
    sheet = "'" + table.sheet.replace("'", "''") + "'"
    corners = [_fixed(top, left + first, moves), _fixed(bottom, left + last, moves)]
    return f"{sheet}!" + (corners[0] if corners[0] == corners[1] else ":".join(corners))


def _fixed(row: int, column: int, moves: bool) -> str:
    letters = address(row, column).rstrip("0123456789")
    # "This row" moves along with a formula that several cells share.
    return f"${letters}{row}" if moves else f"${letters}${row}"
