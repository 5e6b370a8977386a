"""What the report shows of the damping, asked of the cell functions.

The same path as a cell of the workbook, so that the numbers of the report and
of the sheet Damping are equal to the last digit. Nothing is computed here but
from which velocity on something has to be told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from dampcell.functions.errors import DampcellError
from dampcell.functions.registry import lookup
from dampcell.functions.tables import is_blank
from dampcell.workbooks.answers import (
    THICKNESS_TOLERANCE,
    Answer,
    as_cell,
    ask,
    limit_of_notes,
    number_of,
)
from dampcell.workbooks.record import JobRecord, Variant

__all__ = ["BuildDamping", "Curve", "DampingAnswers", "Shares", "Summary", "ask_damping"]

VELOCITIES = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0)
"""Shaft velocities of the table where the workbook names none [m/s]; common practice, no source."""

MAXIMUM_VELOCITY = 4.0
"""Where the curves end if the workbook does not say [m/s]; common practice, no source."""

DIAL_VELOCITY = 0.1
"""Shaft velocity at which the dial is judged [m/s]: low speed; common practice, no source."""

LOW_SPEED = 0.5
"""Where the plot of low speed ends [m/s]; our own choice, no source."""

CURVE_POINTS = 25.0


@dataclass(frozen=True, slots=True)
class Shares:
    """Which part of the oil takes which path at a velocity [-]; they add up to 1."""

    shims: float
    bleed: float
    needle: float
    leak: float


@dataclass(frozen=True, slots=True)
class Summary:
    """A build in five numbers; None where there is none.

    Parameters
    ----------
    low_speed_slope, high_speed_slope : float, optional
        Force over velocity near standstill, and slope at the largest velocity [N·s/m].
    knee_velocity, knee_force : float, optional
        Where half of the oil goes under the shims [m/s], [N].
    opening_pressure : float, optional
        Pressure that opens the face shim [bar].
    """

    low_speed_slope: float | None = None
    knee_velocity: float | None = None
    knee_force: float | None = None
    high_speed_slope: float | None = None
    opening_pressure: float | None = None


@dataclass(frozen=True, slots=True)
class Curve:
    """Force [N] against velocity [m/s] from standstill on, with its band; no band without a tolerance."""

    velocities: tuple[float, ...] = ()
    forces: tuple[float, ...] = ()
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class BuildDamping:
    """What one build does to the damping.

    Parameters
    ----------
    label : text
        Heading of its stack.
    style : int
        Place among the stacks of the job, which gives it the same line in every plot.
    clicks : float
        Adjuster position, from fully closed [-].
    problem : text
        Why nothing can be computed, or empty.
    forces, margins : tuple of float
        Force [N] and margin to cavitation [bar] at the velocities of the table; None without an answer.
    slow, fast : Shares, optional
        Paths of the oil at the lowest and the highest velocity of the table.
    summary : Summary
        Slopes, knee and opening.
    curve, slow_curve : Curve
        Over all velocities, and up to `LOW_SPEED`.
    band_problem : text
        Why there is no band, or empty.
    limit : float, optional
        Velocity from which on a shim is beyond the axisymmetric range [m/s].
    cavitates_from : float, optional
        Velocity from which on the jets cavitate [m/s].
    rest_margin : float, optional
        Margin to cavitation at standstill [bar].
    dial : tuple of (clicks, force)
        At each click [-], force [N] at `DIAL_VELOCITY`; empty without an adjuster.
    dial_fast : tuple of (closed, open), optional
        Force at the highest velocity of the table with the adjuster fully closed and fully open [N].
    """

    label: str
    style: int
    clicks: float
    problem: str = ""
    forces: tuple[float | None, ...] = ()
    margins: tuple[float | None, ...] = ()
    slow: Shares | None = None
    fast: Shares | None = None
    summary: Summary = Summary()
    curve: Curve = Curve()
    slow_curve: Curve = Curve()
    band_problem: str = ""
    limit: float | None = None
    cavitates_from: float | None = None
    rest_margin: float | None = None
    dial: tuple[tuple[float, float], ...] = ()
    dial_fast: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class DampingAnswers:
    """All that is asked of the damping of one job.

    Parameters
    ----------
    builds : tuple of BuildDamping
        The one as found first; empty when nothing is known of the valve.
    problem : text
        Why there is no force for any build, or empty.
    velocities : tuple of float
        Velocities of the table, rising [m/s].
    tolerance : float
        Plus/minus on every thickness of the bands [mm].
    temperature : float, optional
        Oil temperature [°C].
    has_rod : bool
        Whether a rod goes through the piston, so that its margin to cavitation is the careful one.
    """

    builds: tuple[BuildDamping, ...]
    problem: str
    velocities: tuple[float, ...]
    tolerance: float
    temperature: float | None
    has_rod: bool


def ask_damping(record: JobRecord) -> DampingAnswers:
    """Ask all that the report of a job shows of its damping.

    Parameters
    ----------
    record : JobRecord
        What the workbook says.

    Returns
    -------
    DampingAnswers
    """
    oil, valve = record.oil, record.valve
    velocities = tuple(sorted({value for value in valve.velocities if value > 0})) or VELOCITIES
    given = number_of(record.entries.get("thickness_tolerance"))
    tolerance = THICKNESS_TOLERANCE if given is None else given
    maximum = number_of(record.entries.get("maximum_velocity")) or MAXIMUM_VELOCITY
    pairs = _parsed_valve(valve.rows)
    builds: tuple[BuildDamping, ...] = ()
    if not valve.pairs:
        problem = "the workbook was made from a template without a sheet for the valve"
    # The face alone is a choice that a new workbook makes itself.
    elif all(is_blank(pair.value) for pair in valve.pairs if pair.name != "face"):
        problem = f"nothing about the valve stands on the sheet {valve.sheet}"
    else:
        asking = _Asking(
            [
                valve.rows,
                [[oil.viscosity_40, oil.viscosity_100, oil.density_15]],
                as_cell(oil.working_temperature),
            ],
            velocities,
            maximum,
            tolerance,
            _clicks(pairs),
        )
        builds = tuple(asking.build(variant, style) for style, variant in enumerate(record.variants))
        problem = builds[0].problem if builds and all(build.problem for build in builds) else ""
    return DampingAnswers(
        builds=() if problem else builds,
        problem=problem,
        velocities=velocities,
        tolerance=tolerance,
        temperature=oil.working_temperature,
        has_rod=bool(pairs.get("rod_diameter")),
    )


@dataclass(frozen=True, slots=True)
class _Asking:
    """What the questions of all builds share: valve, oil and temperature, and where they are asked."""

    shared: list[object]
    velocities: tuple[float, ...]
    maximum: float
    tolerance: float
    clicks: int

    def build(self, variant: Variant, style: int) -> BuildDamping:
        rest = [[list(row) for row in variant.rows], *self.shared]
        arguments = [*rest, variant.clicks_open]
        label = variant.label
        curve, problem, band_problem = self._curve(arguments, self.maximum)
        if problem:
            return BuildDamping(label, style, variant.clicks_open, problem)
        shares = ask("DAMPING_SHARE", [self.velocities[0], self.velocities[-1]], *arguments).rows
        summary = ask("DAMPING_SUMMARY", *arguments, self.maximum).rows

        resting = ask("DAMPING_FORCE", 0.0, *arguments).notes

        def rough(velocity: float) -> Answer:
            # What is told at a standstill too, such as a hot oil, has nothing to do with the lift.
            told = ask("DAMPING_FORCE", velocity, *arguments).notes
            return Answer(notes=tuple(note for note in told if note not in resting))

        def cavitating(velocity: float) -> Answer:
            margin = ask("CAVITATION_MARGIN", velocity, *arguments).number
            return Answer(notes=("cavitates",) if margin is not None and margin <= 0 else ())

        dial, dial_fast = self._dial(rest)
        return BuildDamping(
            label=label,
            style=style,
            clicks=variant.clicks_open,
            forces=_over("DAMPING_FORCE", self.velocities, arguments),
            margins=_over("CAVITATION_MARGIN", self.velocities, arguments),
            slow=_shares(shares[0]) if shares else None,
            fast=_shares(shares[-1]) if shares else None,
            summary=Summary(*(_number(cell) for cell in summary[0])) if summary else Summary(),
            curve=curve,
            slow_curve=self._curve(arguments, LOW_SPEED)[0] if self.maximum > LOW_SPEED else Curve(),
            band_problem=band_problem,
            limit=self._from(rough),
            cavitates_from=self._from(cavitating),
            rest_margin=ask("CAVITATION_MARGIN", 0.0, *arguments).number,
            dial=dial,
            dial_fast=dial_fast,
        )

    def _curve(self, arguments: list[object], maximum: float) -> tuple[Curve, str, str]:
        """Curve, why there is none, and why it has no band: the tolerance may be too much for a thin shim."""
        asked = [*arguments, maximum, CURVE_POINTS]
        # Without a tolerance the text is wanted: a bare 0 may be a blank cell to the registry.
        banded = ask("DAMPING_CURVE", *asked, self.tolerance) if self.tolerance else None
        plain = banded if banded and not banded.sentence else ask("DAMPING_CURVE", *asked, "0")
        columns = zip(*(map(_whole, row) for row in plain.rows), strict=True)
        velocities, forces, low, high = columns if plain.rows else ((),) * 4
        if plain is not banded:
            low = high = ()
        return Curve(velocities, forces, low, high), plain.sentence, banded.sentence if banded else ""

    def _from(self, at: Callable[[float], Answer]) -> float | None:
        """Velocity from which on there is a note, or None if there is none up to the largest."""
        return limit_of_notes(self.maximum, at) if at(self.maximum).notes else None

    def _dial(self, rest: list[object]) -> tuple[tuple[tuple[float, float], ...], tuple[float, float] | None]:
        if not self.clicks:
            return (), None
        clicks = [float(click) for click in range(self.clicks + 1)]
        slow = ask("DAMPING_FORCE", DIAL_VELOCITY, *rest, [[click] for click in clicks]).rows
        fast = [ask("DAMPING_FORCE", self.velocities[-1], *rest, click).number for click in (0.0, clicks[-1])]
        forces = tuple(
            (click, row[0]) for click, row in zip(clicks, slow, strict=False) if isinstance(row[0], float)
        )
        closed, opened = fast
        return forces, None if closed is None or opened is None else (closed, opened)


def _over(name: str, velocities: Sequence[float], arguments: Sequence[object]) -> tuple[float | None, ...]:
    rows = ask(name, [[velocity] for velocity in velocities], *arguments).rows
    return tuple(_number(row[0]) for row in rows) if rows else (None,) * len(velocities)


def _number(cell: object) -> float | None:
    return cell if isinstance(cell, float) else None


def _whole(cell: object) -> float:
    assert isinstance(cell, float), "a curve is solved at all of its points, or not at all"
    return cell


def _shares(row: Sequence[object]) -> Shares | None:
    numbers = [cell for cell in row[1:] if isinstance(cell, float)]
    return Shares(*numbers) if len(numbers) == 4 else None


def _parsed_valve(rows: list[list[object]]) -> Mapping[str, float | str | None]:
    """The valve as the functions read it; empty when they refuse it, which they then say themselves."""
    argument = next(one for one in lookup("DAMPING_FORCE").arguments if one.name == "valve")
    try:
        return cast(Mapping[str, float | str | None], argument.coerce(rows))
    except DampcellError:
        return {}


def _clicks(pairs: Mapping[str, float | str | None]) -> int:
    """Clicks of the adjuster, 0 without one."""
    clicks = pairs.get("needle_clicks")
    return int(clicks) if pairs.get("needle_seat_diameter") and isinstance(clicks, float) else 0
