"""What the report shows of a job, asked of the cell functions: stacks and oil.

Everything goes through the registry, the same path as a cell of the workbook,
so a number of the report and the number of the same formula in a cell are equal
to the last digit. A question that has no answer keeps its sentence instead.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import dampcell.functions.cells  # noqa: F401 - importing the families fills the registry
from dampcell.functions.errors import DampcellError
from dampcell.functions.registry import CellError, lookup
from dampcell.workbooks.memory import remembered
from dampcell.workbooks.record import Entry, JobRecord, Oil, Seat, Variant

__all__ = [
    "Answer",
    "JobAnswers",
    "OilAnswers",
    "StackAnswers",
    "as_cell",
    "ask",
    "ask_job",
    "ask_oil",
    "ask_stack",
    "limit_of_notes",
    "number_of",
]

ParsedRow = Mapping[str, float | str | None]

CURVE_POINTS = 31
"""Points of a curve: enough that no corner of a line can be seen in print."""

THICKNESS_TOLERANCE = 0.005
"""Plus/minus on every thickness for which the report shows a band [mm]; common practice, no source."""

_HALVINGS = 8
"""Halvings by which the end of the axisymmetric range is found: to 1/256 of the largest load."""

PLOT_TEMPERATURES = tuple(float(degrees) for degrees in range(0, 101, 2))
"""Where the oil's curve is drawn [°C]: the range in which the viscosity law needs no warning."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What one call gave.

    Parameters
    ----------
    value : object
        Number, text or rows; None when there is no answer.
    sentence : text
        Why there is none, or empty.
    notes : tuple of text
        What has to be told with the value.
    """

    value: object = None
    sentence: str = ""
    notes: tuple[str, ...] = ()

    @property
    def number(self) -> float | None:
        """The value as a number, or None."""
        return self.value if isinstance(self.value, float) else None

    @property
    def rows(self) -> list[list[object]]:
        """The value as rows; empty when it is no table."""
        return self.value if isinstance(self.value, list) else []


@dataclass(frozen=True, slots=True)
class StackAnswers:
    """What one stack does.

    Parameters
    ----------
    key, label : text
        Key and heading of the stack.
    rows : tuple of parsed rows
        For the picture; empty when the stack cannot be read.
    problem : text
        Why nothing can be computed, or empty.
    opening : Answer
        Load at which the face shim leaves its seat [N].
    lift, stiffness : Answer
        Lift [mm] and tangent stiffness [N/mm] at the load that the table compares at.
    stress : Answer
        Row, stress [MPa] and stress over endurance limit [-] of each shim at the largest load, worst first.
    tolerance : Answer
        Rows with name, low, nominal and high: lift [mm], then stiffness [N/mm], at the same load.
    curve : tuple of (load, lift)
        Lift [mm] against load [N].
    limit : float, optional
        Load above which a shim is beyond the axisymmetric range [N].
    checks : tuple of text
        Remarks on the build, such as gaps and rings.
    """

    key: str
    label: str
    rows: tuple[ParsedRow, ...]
    problem: str
    opening: Answer
    lift: Answer
    stiffness: Answer
    stress: Answer
    tolerance: Answer
    curve: tuple[tuple[float, float], ...]
    limit: float | None
    checks: tuple[str, ...]

    def is_shut(self, load: float) -> bool:
        """Whether the face shim still rests on its seat at a load [N]."""
        return self.opening.number is not None and load <= self.opening.number and self.opening.number > 0

    @property
    def stress_ratio(self) -> float | None:
        """Worst stress over the endurance limit at the largest load [-], if it could be computed."""
        worst = self.stress.rows[0] if self.stress.rows else []
        return worst[2] if len(worst) > 2 and isinstance(worst[2], float) else None

    @property
    def lift_band(self) -> tuple[float, float] | None:
        """Lowest and highest lift within the tolerance of the thicknesses [mm], if it could be computed."""
        row = self.tolerance.rows[0] if self.tolerance.rows else []
        numbers = [cell for cell in row if isinstance(cell, float)]
        return (min(numbers), max(numbers)) if numbers else None


@dataclass(frozen=True, slots=True)
class OilAnswers:
    """What the oil is, by its data.

    Parameters
    ----------
    index : Answer
        Viscosity index [-].
    grade : Answer
        ISO class, as text.
    working : Answer
        Viscosity at the working temperature [mm²/s].
    density : Answer
        Density at the working temperature [kg/m³].
    label : Answer
        Low, middle and high viscosity at 40 °C behind the bottle's label [mm²/s].
    curve : tuple of (temperature, viscosity)
        Viscosity [mm²/s] against temperature [°C].
    """

    index: Answer
    grade: Answer
    working: Answer
    density: Answer
    label: Answer
    curve: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class JobAnswers:
    """All that is asked for the report of one job.

    Parameters
    ----------
    stacks : tuple of StackAnswers
        The one as found first.
    oil : OilAnswers, optional
        None where the data sheet's two viscosities are not both known.
    reference_load, maximum_load : float
        Loads at which builds are compared, and stress is judged [N].
    """

    stacks: tuple[StackAnswers, ...]
    oil: OilAnswers | None
    reference_load: float
    maximum_load: float


def ask_job(record: JobRecord) -> JobAnswers:
    """Ask all that the report of a job shows.

    Parameters
    ----------
    record : JobRecord
        What the workbook says.

    Returns
    -------
    JobAnswers
    """
    seat, oil = record.seat, record.oil
    reference = number_of(record.entries.get("working_load")) or seat.maximum_load / 2
    known = oil.viscosity_40 is not None and oil.viscosity_100 is not None
    return JobAnswers(
        stacks=tuple(ask_stack(variant, seat, reference) for variant in record.variants),
        oil=ask_oil(oil) if known else None,
        reference_load=reference,
        maximum_load=seat.maximum_load,
    )


def number_of(entry: Entry | None) -> float | None:
    """Return the number that a field of the workbook holds, or None."""
    return entry.value if entry is not None and isinstance(entry.value, float) else None


def ask(name: str, *arguments: object) -> Answer:
    """Ask a cell function.

    Parameters
    ----------
    name : text
        Name of the function.
    *arguments : object
        Raw values, as cells would hold them; None for a blank.

    Returns
    -------
    Answer
        With the sentence in place of a value when the cell would show an error.
    """
    outcome = remembered(name, arguments)
    if isinstance(outcome.value, CellError):
        return Answer(None, outcome.value.message or outcome.value.code)
    # A table is kept with the errors of its single cells: a curve has no stiffness while it is seated.
    return Answer(outcome.value, "", outcome.notes)


def ask_stack(variant: Variant, seat: Seat, reference_load: float) -> StackAnswers:
    """Ask all that the report shows of one stack.

    Parameters
    ----------
    variant : Variant
        The stack as it stands in the workbook.
    seat : Seat
        Load circle, seat and theory.
    reference_load : float
        Load at which builds are compared [N], above 0.

    Returns
    -------
    StackAnswers
    """
    table = [list(row) for row in variant.rows]
    circle, height = seat.load_diameter, seat.seat_height
    theory, modulus, poisson = seat.theory, seat.modulus, seat.poisson
    # Every argument that the functions share, in their common order.
    rest = (theory, modulus, poisson, height)
    lift = ask("STACK_LIFT", table, reference_load, circle, None, *rest)
    known = _Known(variant.key, variant.label, _parsed(table), _remarks(table))
    if lift.sentence:
        return _unanswered(known, lift)
    curve = ask("STACK_CURVE", table, circle, seat.maximum_load, float(CURVE_POINTS), *rest)
    points = _pairs(curve.rows)

    def lift_at(load: float) -> Answer:
        return ask("STACK_LIFT", table, load, circle, None, *rest)

    return StackAnswers(
        key=known.key,
        label=known.label,
        rows=known.rows,
        problem="",
        opening=ask("STACK_OPENING", table, circle, height, theory, modulus, poisson),
        lift=lift,
        stiffness=ask("STACK_STIFFNESS", table, reference_load, circle, *rest),
        stress=ask("STACK_STRESS", table, seat.maximum_load, circle, seat.endurance_limit, *rest),
        tolerance=ask("STACK_TOLERANCE", table, reference_load, circle, THICKNESS_TOLERANCE, 0.0, 0.0, *rest),
        curve=points,
        limit=limit_of_notes(seat.maximum_load, lift_at) if curve.notes else None,
        checks=known.remarks,
    )


def ask_oil(oil: Oil) -> OilAnswers:
    """Ask all that the report shows of the oil.

    Parameters
    ----------
    oil : Oil
        Data of the bottle.

    Returns
    -------
    OilAnswers
    """
    pair = (oil.viscosity_40, oil.viscosity_100)
    warm = as_cell(oil.working_temperature)
    cells = [[as_cell(degrees)] for degrees in PLOT_TEMPERATURES]
    curve = ask("OIL_VISCOSITY", *pair, cells)
    return OilAnswers(
        index=ask("OIL_INDEX", *pair),
        grade=ask("OIL_GRADE", oil.viscosity_40),
        working=ask("OIL_VISCOSITY", *pair, warm),
        density=ask("OIL_DENSITY", oil.density_15, warm),
        label=ask("OIL_LABEL", oil.oil_label),
        curve=_pairs([[t, row[0]] for t, row in zip(PLOT_TEMPERATURES, curve.rows, strict=False)]),
    )


@dataclass(frozen=True, slots=True)
class _Known:
    """What is known of a stack before anything is computed."""

    key: str
    label: str
    rows: tuple[ParsedRow, ...]
    remarks: tuple[str, ...]


def _unanswered(known: _Known, lift: Answer) -> StackAnswers:
    nothing = Answer(None, lift.sentence)
    return StackAnswers(
        key=known.key,
        label=known.label,
        rows=known.rows,
        problem=lift.sentence,
        opening=nothing,
        lift=lift,
        stiffness=nothing,
        stress=nothing,
        tolerance=nothing,
        curve=(),
        limit=None,
        checks=(),
    )


def _remarks(table: list[list[object]]) -> tuple[str, ...]:
    """What STACK_CHECK says of the build alone; loads and stress have their own sentences."""
    rows = ask("STACK_CHECK", table).rows
    return tuple(str(row[1]) for row in rows if row[0] == "note")


def limit_of_notes(largest: float, at: Callable[[float], Answer]) -> float:
    """Find up to where there is no note; one that has come stays, as shims only lift further.

    Parameters
    ----------
    largest : float
        Largest load or velocity, above 0, in the unit that the question takes.
    at : callable
        Asks a cell function at a load or velocity.

    Returns
    -------
    float
        In the same unit; good to 1/256 of the largest.
    """
    low, high = 0.0, largest
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if at(middle).notes else (middle, high)
    return low


def _parsed(table: list[list[object]]) -> tuple[ParsedRow, ...]:
    """Rows for the picture, read by the same layout as the functions read them."""
    argument = next(argument for argument in lookup("STACK_LIFT").arguments if argument.kind == "table")
    try:
        return tuple(cast(Sequence[ParsedRow], argument.coerce(table)))
    except DampcellError:
        return ()


def _pairs(rows: Sequence[Sequence[object]]) -> tuple[tuple[float, float], ...]:
    """First two columns of the rows that hold numbers in both."""
    return tuple((row[0], row[1]) for row in rows if isinstance(row[0], float) and isinstance(row[1], float))


def as_cell(degrees: float | None) -> object:
    """Write a temperature [°C] as a cell holds it; None stays blank."""
    # A bare 0 may be a blank cell to the registry; as text it is a temperature.
    return None if degrees is None else f"{degrees:.15g} °C"
