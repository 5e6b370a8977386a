"""A job record: what a saved stack-record workbook says, read by its defined names.

`read_record` turns the cells of a workbook into frozen dataclasses. Numbers
come in the units of the nomenclature, whatever a person typed; stack rows stay
raw, as cells hand them to the functions. Every complaint names sheet and cell.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from dampcell.functions.registry import CellError
from dampcell.workbooks.fields import Field

__all__ = [
    "BleedStep",
    "CellSource",
    "Checkpoint",
    "Dial",
    "Entry",
    "Fill",
    "Job",
    "JobRecord",
    "Layer",
    "Oil",
    "Orientation",
    "Pair",
    "PriceLine",
    "Scalar",
    "Seat",
    "SmallPart",
    "Teardown",
    "Valve",
    "Variant",
]

Scalar = float | str | datetime.date | CellError | None
"""What one read cell may hold; an error value stays one, so that a report can show it."""


class CellSource(Protocol):
    """What reading needs of a workbook: cells by address, and where the defined names point.

    Any engine or library is put behind this; rows and columns count from 1.
    """

    @property
    def sheet_names(self) -> Sequence[str]:
        """Names of the sheets, in order."""

    @property
    def defined_names(self) -> Mapping[str, str]:
        """Workbook-level names and what they refer to, such as ``Stacks!$C$12:$G$25``."""

    @property
    def date1904(self) -> bool:
        """Whether dates count from 1904."""

    def block(self, sheet: str, top: int, left: int, bottom: int, right: int) -> list[list[object]]:
        """Values of a rectangle: number, text, bool, date, CellError, or None for blank."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One field as it was read: its value and the cell where it stands."""

    field: Field
    sheet: str
    cell: str
    value: Scalar


@dataclass(frozen=True, slots=True)
class Dial:
    """One adjuster; clicks count from fully closed [-]."""

    adjuster: str
    total_clicks: float | None
    as_found: float | None
    as_left: float | None
    note: str
    printed_clicks: float | None = None
    dial_offset: float | None = None
    finding: Scalar = None


@dataclass(frozen=True, slots=True)
class PriceLine:
    """One line of the bill; money as the workbook holds it."""

    item: str
    count: float
    price: float


@dataclass(frozen=True, slots=True)
class Job:
    """What the job is, whose, and by whom. Texts are empty when left blank."""

    job_number: str
    workshop: str
    date_in: datetime.date | None
    job_date: datetime.date | None
    technician: str
    service_kind: str
    customer_code: str
    vehicle: str
    damper: str
    serial: str
    hours_since_last: float | None
    service_interval: float | None
    rider_note: str
    work_note: str
    dials: tuple[Dial, ...]
    price_lines: tuple[PriceLine, ...]


@dataclass(frozen=True, slots=True)
class Seat:
    """Where the stack sits, and with what it is reckoned: [mm], [mm], [GPa], [-], [MPa]."""

    stack_place: str
    piston_face: str
    load_diameter: float | None
    seat_height: float
    theory: str
    modulus: float
    poisson: float
    endurance_limit: float | None
    loads: tuple[float, ...]
    maximum_load: float


@dataclass(frozen=True, slots=True)
class Variant:
    """One stack: its label, its raw rows, and its result cells.

    ``rows`` are the filled rows of part, outer diameter [mm], thickness [mm],
    quantity [-], inner diameter [mm], raw as in the sheet (text may carry a
    unit), ready for the ``stack`` argument of the cell functions. ``places``
    gives the cells of each row, such as ``C12:G12``; ``results`` the recalculated
    results by name without the variant's ending, such as ``opening``.
    ``clicks_open`` is the adjuster position that damping is reckoned with, from
    fully closed [-]; left blank, a variant has that of the stack as found.
    ``lifts`` and ``forces`` are the result cells for the loads of the seat and
    the velocities of the valve [mm], [N].
    """

    key: str
    label: str
    sheet: str
    rows: tuple[tuple[object, ...], ...]
    places: tuple[str, ...]
    notes: tuple[str, ...]
    lifts: tuple[Scalar, ...]
    results: Mapping[str, Entry]
    clicks_open: float = 0.0
    forces: tuple[Scalar, ...] = ()


@dataclass(frozen=True, slots=True)
class Oil:
    """The oil: names, viscosities [mm²/s], density [kg/m³], working temperature [°C]."""

    oil_name: str
    oil_label: str
    oil_batch: str
    viscosity_40: float | None
    viscosity_100: float | None
    density_15: float | None
    working_temperature: float | None


@dataclass(frozen=True, slots=True)
class Pair:
    """One row of a name/value table, raw, with its unit and its cell."""

    name: str
    value: object
    unit: str
    cell: str


@dataclass(frozen=True, slots=True)
class Valve:
    """The valve as name/value rows, and the shaft velocities of its results [m/s].

    The temperature that damping is reckoned at is the working temperature of `Oil`.
    """

    sheet: str
    pairs: tuple[Pair, ...]
    velocities: tuple[float, ...]

    @property
    def rows(self) -> list[list[object]]:
        """Name, value and unit of each row, ready for the ``valve`` argument of the cell functions."""
        return [[pair.name, pair.value, pair.unit] for pair in self.pairs]


@dataclass(frozen=True, slots=True)
class BleedStep:
    """One line of the bleed log; volumes [ml]."""

    step: str
    oil_in: float | None
    oil_out: float | None
    note: str


@dataclass(frozen=True, slots=True)
class Fill:
    """Cartridge geometry as name/value rows, and the bleed log."""

    sheet: str
    cartridge: tuple[Pair, ...]
    bleed_log: tuple[BleedStep, ...]


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """One line of the checklist; torque [N·m]."""

    phase: str
    item: str
    torque: float | None
    state: str
    caution: str
    note: str


@dataclass(frozen=True, slots=True)
class Orientation:
    """A part with two different sides, and where its marked side faced."""

    part: str
    mark: str
    as_found: str
    as_left: str
    finding: Scalar = None


@dataclass(frozen=True, slots=True)
class Layer:
    """One thing in the order in which it came off."""

    part: str
    place: str
    condition: str
    refitted: str
    note: str


@dataclass(frozen=True, slots=True)
class SmallPart:
    """Small parts of one kind, counted out and in [-]."""

    part: str
    seat: str
    counted_out: float | None
    counted_in: float | None
    finding: Scalar = None


@dataclass(frozen=True, slots=True)
class Teardown:
    """What came off in which order, which way round, and the small parts."""

    orientations: tuple[Orientation, ...] = ()
    layers: tuple[Layer, ...] = ()
    small_parts: tuple[SmallPart, ...] = ()


@dataclass(frozen=True, slots=True)
class JobRecord:
    """All that one job workbook says.

    ``variants`` holds the filled stacks only, the one as found first. ``entries``
    holds every single-cell field by name, inputs and results, with the cell where it stands.
    """

    file: str
    job: Job
    seat: Seat
    valve: Valve
    variants: tuple[Variant, ...]
    oil: Oil
    fill: Fill
    checklist: tuple[Checkpoint, ...]
    entries: Mapping[str, Entry]
    teardown: Teardown = Teardown()

    @property
    def results(self) -> dict[str, Entry]:
        """The single-cell result fields by name."""
        return {name: entry for name, entry in self.entries.items() if entry.field.kind == "result"}
