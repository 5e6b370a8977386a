"""Force against velocity of one valve build: stack, ports, bleed, adjuster and oil together.

Modelled is the direction in which the oil lifts the stack: compression through
a base valve, or one direction of a piston valve. The shaft displaces oil; the
oil shares out among bleed, needle, leak and the gap under the lifted face shim;
the lift is the stack solver's at the pressure under the shim.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from dampcell.functions.bending import AXISYMMETRIC_LIMIT
from dampcell.functions.errors import InputError, NoSolutionError
from dampcell.functions.flow import Floats, Fluid, Opening, check_above, check_within, finite, quadratic_flow
from dampcell.functions.plates import MODULUS, POISSON
from dampcell.functions.roots import increasing_root
from dampcell.functions.stacks import BEYOND, Stack, StackModel
from dampcell.functions.states import States
from dampcell.functions.valves import ATMOSPHERE, Face, Valve

__all__ = ["DampingCurve", "DampingModel", "LiftTable", "Summary", "Tolerances", "damping_bands", "summary"]

MOST_VELOCITY = 20.0
"""Largest velocity that is answered [m/s]; a fork or shock stays below about 10, common practice."""

CAVITATION_INDEX = 0.4
"""Pressure behind a sharp opening over its pressure drop at which its jet starts to cavitate [-].

Textbook range 0.2 to 0.5 for sharp-edged orifices, from memory; the upper part is taken.
"""

_STEPS = 12
_STEPS_PER_THICKNESS = 6
_MISS = 0.0015
_MOST_HALVINGS = 8
_MOST_EXTENSIONS = 20
_MOST_FLUIDS = 64  # for which a build keeps its flow balance
_MOST_KNOWN = 256  # single velocities whose answer a build remembers


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Plus/minus tolerances [mm], each 0 or more, all taken at their worst together.

    Raises
    ------
    InputError
        If one is negative or larger than 5 mm.
    """

    thickness: float = 0.0
    clamp: float = 0.0
    seat: float = 0.0

    def __post_init__(self) -> None:
        for name in ("thickness", "clamp", "seat"):
            check_within(f"{name}_tolerance", getattr(self, name), 0.0, 5.0, " mm")


@dataclass(frozen=True, slots=True)
class DampingCurve:
    """What a build does at n velocities.

    Parameters
    ----------
    velocity, force, pressure : ndarray, shape (n,)
        Shaft velocity [m/s], damping force [N], pressure drop over the valve [bar].
    load, lift : ndarray, shape (n,)
        Load on the face shim [N], and its lift off the seat [mm].
    flows : dict of ndarray
        Flow through each path [ml/s]: shims, bleed, needle, leak.
    residual : float
        Largest error of the flow balance, relative to the displaced flow [-].
    """

    velocity: Floats
    force: Floats
    pressure: Floats
    load: Floats
    lift: Floats
    flows: dict[str, Floats]
    residual: float

    def shares(self) -> dict[str, Floats]:
        """Share of each path in the flow [-]; at standstill the limit is not defined and given as 0."""
        total = np.sum(list(self.flows.values()), axis=0)
        return {name: flow / np.where(total > 0.0, total, 1.0) for name, flow in self.flows.items()}


class LiftTable:
    """How far a stack lifts off a piston face, at loads that do not depend on what is asked.

    Parameters
    ----------
    stack : Stack
        The shims.
    face : Face
        Port window, seat.
    modulus, poisson : float
        Of the shims [GPa], [-].

    Raises
    ------
    InputError
        If window or seat do not fit the face shim.

    Notes
    -----
    The loads go up from the opening load in steps that grow (square law), measured in the
    load that lifts the face shim by about its thickness, and every step is halved until the
    straight line through its ends misses the solver's lift in its middle by less than 0.15 %.
    Between the loads the lift is interpolated linearly, within 0.7 % of the solver or 0.2 µm (checked
    in the tests). The same build has the same table whatever velocities are asked of it.
    """

    def __init__(
        self, stack: Stack, face: Face, *, modulus: float = MODULUS, poisson: float = POISSON
    ) -> None:
        _check_fit(stack, face)
        self.face = face
        self.model = StackModel(
            stack,
            face.seat_diameter,
            modulus=modulus,
            poisson=poisson,
            seat_height=face.seat_height,
            window=face.window,
        )
        self.opening = self.model.opening()
        self._first = self.model.states(self.opening + 1.0)
        rise = float(self._lift(self._first)[0])
        self._scale = stack.face.thickness / max(rise, 1e-9)
        start = np.array([0.0, self.opening] if self.opening > 0.0 else [0.0])
        self.nodes: tuple[Floats, Floats] = start, np.zeros(len(start))
        self.limit = np.inf
        """Load from which a shim lifts beyond the axisymmetric range [N]."""

    def extend(self) -> None:
        """Add the next loads; `nodes` is replaced whole, so that another thread never sees half of it."""
        known, known_lifts = self.nodes
        done = round(_STEPS_PER_THICKNESS * np.sqrt((known[-1] - self.opening) / self._scale))
        steps = done + np.arange(_STEPS + 1)
        loads = self.opening + self._scale * (steps / _STEPS_PER_THICKNESS) ** 2
        states = self.model.states(loads[1:], self._first)
        lifts = np.concatenate([known_lifts[-1:], self._lift(states)])
        ratios = self.model.edge_ratio(states)
        if ratios.max() > AXISYMMETRIC_LIMIT:
            self.limit = min(self.limit, float(np.interp(AXISYMMETRIC_LIMIT, ratios, loads[1:])))
        open_steps = np.arange(_STEPS)
        for _ in range(_MOST_HALVINGS):
            halves = 0.5 * (loads[open_steps] + loads[open_steps + 1])
            straight = 0.5 * (lifts[open_steps] + lifts[open_steps + 1])
            found = self._lift(self.model.states(halves, states))
            missed = np.abs(found - straight) > _MISS * found
            loads = np.insert(loads, open_steps + 1, halves)
            lifts = np.insert(lifts, open_steps + 1, found)
            first = (open_steps + np.arange(len(open_steps)))[missed]
            open_steps = np.sort(np.concatenate([first, first + 1]))
            if not len(open_steps):
                break
        rising = np.maximum.accumulate(lifts)
        self.nodes = np.concatenate([known, loads[1:]]), np.concatenate([known_lifts, rising[1:]])

    def _lift(self, states: States) -> Floats:
        """Lift off the seat."""
        return self.model.lift(states) - self.face.seat_height


class DampingModel:
    """One valve build.

    Parameters
    ----------
    table : LiftTable
        The stack on the face that meets it.
    valve : Valve
        Ports, bleed, adjuster, displaced area.
    clicks_open : float
        Position of the adjuster from closed [-].

    Raises
    ------
    InputError
        If the adjuster lacks the click.

    Notes
    -----
    Pressure under the shim p_s and total drop p: the ports pass what the gap passes,
    p = p_s + Δp_ports(Q), Q = Q_gap(p_s, h). The load on the shim is p_s times an area that
    grows from the open part of the window (seated) to the whole window and half of the land
    (lifted), h/(h + wetting lift) of the way; the load acts where the window is. Where more
    area would let the shim snap open, the pressure of the rising branch is kept, so that
    the force never falls with velocity. Flow laws: see `flow` and `openings`. Forces of the
    moving oil on the shim, inertia, and friction of the damper are not in it. The flow
    balance is solved to 1e-12.
    """

    def __init__(self, table: LiftTable, valve: Valve, clicks_open: float = 0.0) -> None:
        self.valve = valve
        self.table = table
        self._clicks_open = clicks_open
        self._side = valve.side_paths(clicks_open)
        self._balances: dict[Fluid, _Balance] = {}
        self._known: dict[tuple[Fluid, float], DampingCurve] = {}

    def with_table(self, table: LiftTable) -> DampingModel:
        """The same build with another stack."""
        return DampingModel(table, self.valve, self._clicks_open)

    @property
    def opening_pressure(self) -> float:
        """Pressure drop at which the face shim leaves its seat [bar]."""
        return 10.0 * self.table.opening / self.valve.face.closed_area

    def beside(self, pressure: Floats, fluid: Fluid) -> Floats:
        """Flow [ml/s] that bleed, adjuster and leak pass at pressure drops [bar]."""
        result: Floats = np.sum([path.flow(pressure, fluid) for path in self._side.values()], axis=0)
        return result

    def curve(self, velocities: ArrayLike, fluid: Fluid) -> DampingCurve:
        """Force, pressure, lift and flows at velocities.

        Parameters
        ----------
        velocities : array_like, shape (n,)
            Shaft velocities in the direction that lifts the stack [m/s], 0 to 20.
        fluid : Fluid
            The oil at its temperature.

        Returns
        -------
        DampingCurve

        Raises
        ------
        InputError
            If a velocity is negative or too large.
        NoSolutionError
            If the stack or the flow balance is not solved.
        """
        speed = np.atleast_1d(finite("velocity", velocities, "m/s"))
        _check_velocities(speed)
        if speed.size != 1:
            return self._curve(speed, fluid)
        # Force, cavitation and shares are mostly asked about the same velocities.
        asked = fluid, float(speed[0])
        known = self._known.get(asked)
        if known is None:
            known = self._curve(speed, fluid)
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            self._known[asked] = known
        return known

    def _curve(self, speed: Floats, fluid: Fluid) -> DampingCurve:
        flow = speed * self.valve.displaced_area
        balance = self._balance(float(flow.max(initial=0.0)), fluid)
        # Each flow lies between two loads of the table; the root is then on one straight piece of it.
        piece = np.clip(np.searchsorted(balance.reached, flow), 1, len(balance.loads) - 1)
        low, high = ((balance.loads[at], balance.reached[at] - flow) for at in (piece - 1, piece))
        load = increasing_root(
            lambda at: balance.flows(at)[1].sum(axis=0) - flow, low[0], high[0], ends=(low[1], high[1])
        )
        drop, flows = balance.flows(load)
        error = np.abs(flows.sum(axis=0) - flow) / np.where(flow > 0.0, flow, 1.0)
        residual = float(error.max(initial=0.0))
        if residual > 1e-6:
            raise NoSolutionError("the flow balance of this valve was not solved", parameter="velocity")
        pressure = np.where(flow > 0.0, drop, 0.0)
        force = 0.1 * pressure * self.valve.displaced_area
        named = dict(zip(("shims", *self._side), flows, strict=True))
        return DampingCurve(speed, force, pressure, load, balance.lift(load), named, residual)

    def cavitation_margin(self, curve: DampingCurve) -> Floats:
        """Absolute pressure behind the valve above what keeps its jets from cavitating.

        Parameters
        ----------
        curve : DampingCurve
            From `curve`.

        Returns
        -------
        ndarray, shape (n,)
            Margin [bar]; below 0 the jets cavitate, or the oil behind a piston does.

        Notes
        -----
        A base valve empties into the reservoir, whose absolute pressure must exceed
        0.4 times the pressure drop (`CAVITATION_INDEX`). With a rod through the valve (a
        piston valve without a base valve) the pressure drop lowers the pressure
        behind the piston itself. The vapour pressure of damper oil is negligible.
        """
        behind = self.valve.reservoir_pressure + ATMOSPHERE
        share = 1.0 if self.valve.rod_diameter > 0.0 else CAVITATION_INDEX
        result: Floats = behind - share * curve.pressure
        return result

    def lift_notes(self, curve: DampingCurve) -> tuple[str, ...]:
        """What has to be told of the lifts of a curve."""
        return (BEYOND,) if curve.load.max(initial=0.0) > self.table.limit else ()

    def _balance(self, flow: float, fluid: Fluid) -> _Balance:
        """The flow balance for a fluid, from a table that reaches as far as this flow."""
        for _ in range(_MOST_EXTENSIONS):
            kept = self._balances.get(fluid)
            if kept is not None and len(kept.loads) > 2 and kept.reached[-1] >= flow:
                return kept
            if kept is not None and kept.loads is self.table.nodes[0]:
                self.table.extend()
            if len(self._balances) >= _MOST_FLUIDS:
                self._balances.clear()
            self._balances[fluid] = _Balance(self.table, self.valve, self._side, fluid)
        raise NoSolutionError(
            "the valve does not pass the displaced oil at any pressure", parameter="velocity"
        )


class _Balance:
    """Flows of one build and fluid at loads of its table; what does not depend on the load is done once."""

    def __init__(self, table: LiftTable, valve: Valve, side: Mapping[str, Opening], fluid: Fluid) -> None:
        self.loads, self._lifts = table.nodes
        self._under = np.maximum.accumulate(10.0 * self.loads / valve.pressed_area(self._lifts))
        self._valve = valve
        self._fluid = fluid
        self._throat = valve.face.throat.coefficients(fluid)
        coefficients = [path.coefficients(fluid) for path in side.values()]
        self._a, self._b = (np.array(each)[:, None] for each in zip(*coefficients, strict=True))
        self.reached: Floats = self.flows(self.loads)[1].sum(axis=0)

    def lift(self, load: Floats) -> Floats:
        """Lift off the seat at loads [mm]."""
        return np.asarray(np.interp(load, self.loads, self._lifts))

    def flows(self, load: Floats) -> tuple[Floats, Floats]:
        """Pressure drop at loads [bar], and the flow under the shims and through each path [ml/s]."""
        under = np.interp(load, self.loads, self._under)
        gap = self._valve.gap(self.lift(load)).coefficients(self._fluid)
        shims = quadratic_flow(under, *gap)
        a, b = self._throat
        drop = under + shims * (a + b * shims)
        return drop, np.concatenate([shims[None], quadratic_flow(drop, self._a, self._b)])


@dataclass(frozen=True, slots=True)
class Summary:
    """A force-velocity curve in five numbers.

    Parameters
    ----------
    low_speed_slope, high_speed_slope : float
        Force over velocity near standstill, and its slope at the upper end [N.s/m].
    knee_velocity : float
        Velocity at which half of the oil goes under the shims [m/s]; infinite if it never does.
    knee_force : float
        Force there [N], infinite likewise.
    opening_pressure : float
        Pressure drop at which the face shim leaves its seat [bar].
    """

    low_speed_slope: float
    knee_velocity: float
    knee_force: float
    high_speed_slope: float
    opening_pressure: float


def summary(model: DampingModel, fluid: Fluid, maximum_velocity: float) -> Summary:
    """Low-speed slope, knee and high-speed slope of a build.

    Parameters
    ----------
    model : DampingModel
        The build.
    fluid : Fluid
        The oil at its temperature.
    maximum_velocity : float
        Upper end of the velocities [m/s], > 0.

    Returns
    -------
    Summary

    Raises
    ------
    InputError
        If the velocity is out of range.
    """
    check_above("maximum_velocity", maximum_velocity, "m/s")
    speeds = maximum_velocity * np.linspace(0.0, 1.0, 201) ** 3
    curve = model.curve(speeds, fluid)
    share = curve.shares()["shims"]
    slow = model.curve([1e-3 * maximum_velocity], fluid)
    top = model.curve([0.95 * maximum_velocity, maximum_velocity], fluid)
    opened = bool(share[-1] >= 0.5)
    knee = float(np.interp(0.5, np.maximum.accumulate(share), speeds)) if opened else np.inf
    force = float(np.interp(knee, speeds, curve.force)) if opened else np.inf
    return Summary(
        float(slow.force[0] / slow.velocity[0]),
        knee,
        force,
        float(np.diff(top.force)[0] / np.diff(top.velocity)[0]),
        model.opening_pressure,
    )


def damping_bands(
    stack: Stack,
    valve: Valve,
    clicks_open: float,
    *,
    velocities: ArrayLike,
    fluid: Fluid,
    tolerances: Tolerances,
    table: Callable[[Stack, Face], LiftTable] = LiftTable,
) -> tuple[Floats, Floats, Floats]:
    """Low, nominal and high force within tolerances.

    Parameters
    ----------
    stack, valve, clicks_open
        As for `DampingModel`.
    velocities : array_like, shape (n,)
        Shaft velocities [m/s].
    fluid : Fluid
        The oil at its temperature.
    tolerances : Tolerances
        Plus/minus on thicknesses, clamp and seat [mm].
    table : callable
        Makes a lift table, or remembers it.

    Returns
    -------
    low, nominal, high : ndarray, shape (n,)
        Forces [N].

    Raises
    ------
    InputError
        If a tolerance is too large for the stack, or as for `DampingModel`.

    Notes
    -----
    The outermost of these: every shim at its thickest with the clamp at its largest, and
    the opposite; the same with a larger and a smaller seat; and, where spacers hold larger
    shims apart or a ring sits on a centering shim, the same with those at their thinnest
    while the others are at their thickest. The seat stays between the port window and the
    edge of the face shim.
    """

    def force(sign: float, spacers: float, wider: float) -> Floats:
        change = sign * tolerances.thickness
        shifted = stack.shifted(change, sign * tolerances.clamp, spacers=spacers * change)
        face = valve.face
        seat = face.seat_diameter + wider * tolerances.seat
        seat = min(max(seat, face.window_outer_diameter), stack.face.outer_diameter)
        build = replace(valve, face=replace(face, seat_diameter=seat))
        return DampingModel(table(shifted, build.face), build, clicks_open).curve(velocities, fluid).force

    nominal = force(0.0, 0.0, 0.0)
    if tolerances == Tolerances():
        return nominal, nominal, nominal
    both = (-1.0, 1.0)
    corners = product(both, both if stack.spacers else (1.0,), both if tolerances.seat > 0.0 else (0.0,))
    ends = np.stack([nominal, *(force(*corner) for corner in corners)])
    return ends.min(axis=0), nominal, ends.max(axis=0)


def _check_fit(stack: Stack, face: Face) -> None:
    """Refuse a piston face that the stack does not cover."""
    clamp, edge = stack.clamp_diameter, stack.face.outer_diameter
    window, seat = face.window, face.seat_diameter
    problem = ""
    if seat <= clamp:
        problem = "the seat lies within the clamp"
    elif window[0] < clamp:
        problem = "the port window reaches under the clamp"
    elif window[1] > edge:
        problem = "the port window reaches beyond the face shim"
    elif seat > edge:
        problem = "the seat lies outside the face shim"
    if problem:
        raise InputError(
            problem,
            parameter="valve, window inner diameter, window outer diameter, seat diameter",
            found=f"{window[0]:g}, {window[1]:g}, {seat:g}",
            allowed=f"within {clamp:g} mm (clamp) to {edge:g} mm (face shim)",
        )


def _check_velocities(speed: Floats) -> None:
    if np.any(speed < 0.0):
        raise InputError(
            "is negative: modelled is the direction in which the oil lifts this stack, "
            "rebound needs the build of the rebound stack",
            parameter="velocity",
            found=float(speed.min()),
            allowed=f"0 to {MOST_VELOCITY:g} m/s",
        )
    if np.any(speed > MOST_VELOCITY):
        raise InputError(
            "is too fast",
            parameter="velocity",
            found=float(speed.max()),
            allowed=f"0 to {MOST_VELOCITY:g} m/s",
        )
