"""Cell functions of a shim stack: lift, stiffness, opening, curve, stress, tolerance, findings."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Annotated, Literal

import numpy as np

from dampcell.functions.checks import check_positive
from dampcell.functions.errors import InputError, ValidityError
from dampcell.functions.plates import MODULUS, POISSON
from dampcell.functions.registry import CellError, Noted, cell_function
from dampcell.functions.stacks import Stack, StackModel, pressure_load, stack_from_rows
from dampcell.functions.tables import Column, RowLayout

__all__ = [
    "STACK",
    "StackRows",
    "Theory",
    "check_points",
    "kept_model",
    "stack_curve",
    "stack_lift",
    "stack_model",
    "stack_opening",
    "stack_opening_pressure",
    "stack_pressure_lift",
    "stack_stiffness",
]

Row = Mapping[str, float | str | None]

STACK = RowLayout(
    (
        Column("part", choices=("shim", "ring", "centering", "clamp"), meaning="what it is"),
        Column("outer_diameter", "mm", meaning="outer diameter; of the clamp: what holds the shims"),
        Column("thickness", "mm", required=False, meaning="thickness of one piece"),
        Column("quantity", "-", required=False, meaning="number of equal pieces"),
        Column("inner_diameter", "mm", required=False, meaning="bore of a ring"),
    )
)
"""A stack from the piston face outward, ended by the clamp."""

StackRows = Annotated[list[Row], STACK]
Theory = Literal["large", "small"]


def check_points(points: float) -> int:
    """Refuse a number of curve points that is not whole or out of range."""
    if points != int(points) or not 2 <= points <= 500:
        raise InputError("must be a whole number", parameter="points", found=points, allowed="2 to 500")
    return int(points)


def stack_model(
    stack: list[Row],
    load_diameter: float,
    theory: Theory,
    modulus: float,
    poisson: float,
    seat_height: float,
    window: tuple[float, float] | None = None,
) -> StackModel:
    """Put the arguments that all stack functions share into a model."""
    return _model(stack_from_rows(stack), load_diameter, modulus, poisson, seat_height, theory, window)


def kept_model(
    stack: Stack,
    load_diameter: float,
    *,
    modulus: float = MODULUS,
    poisson: float = POISSON,
    seat_height: float = 0.0,
    theory: Theory = "large",
) -> StackModel:
    """Make a model, or find the one that was made of the same before; arguments as for `StackModel`."""
    return _model(stack, load_diameter, modulus, poisson, seat_height, theory, None)


@functools.lru_cache(maxsize=96)
def _model(
    stack: Stack,
    load_diameter: float,
    modulus: float,
    poisson: float,
    seat_height: float,
    theory: Theory,
    window: tuple[float, float] | None,
) -> StackModel:
    # The cells of one sheet mostly ask for the same few. What a model remembers changes no answer of it.
    return StackModel(
        stack,
        load_diameter,
        modulus=modulus,
        poisson=poisson,
        seat_height=seat_height,
        theory=theory,
        window=window,
    )


@cell_function(family="Stack", result="lift")
def stack_lift(
    stack: StackRows,
    load: float,
    load_diameter: float,
    at_diameter: float | None = None,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
    seat_height: float = 0.0,
) -> Noted:
    """Lift of a shim stack under a ring load.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    load : float
        Total load over the full circle, 0 or more [N].
    load_diameter : float
        Diameter of the load circle, which is also the seat; above the clamp, up to the face shim's edge [mm].
    at_diameter : float, optional
        Diameter at which the lift is read, on the face shim; the load circle if left out [mm].
    theory : {"large", "small"}
        Whether shims stiffen with their lift [-].
    modulus : float
        Modulus of elasticity, > 0 [GPa].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].
    seat_height : float
        Height of the seat over the hub, 0 to 5 [mm].

    Returns
    -------
    float
        Lift of the face shim above its flat position [mm].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    NoSolutionError
        If the solver does not settle.

    Notes
    -----
    The stack model: shims as thin plates clamped together, one-sided contact without
    friction between neighbours and on the seat, ring and centering layers, gaps and preload
    from the geometry; with "large" every shim stiffens by the membrane energy of its own
    shape, up to an edge lift of twice its thickness, and a note says where that is passed.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> round(stack_lift([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]], 20, 26), 4)
    0.0988
    """
    model = stack_model(stack, load_diameter, theory, modulus, poisson, seat_height)
    states = model.states(load)
    return Noted(float(model.lift(states, at_diameter)[0]), model.notes(states))


@cell_function(family="Stack", result="stiffness")
def stack_stiffness(
    stack: StackRows,
    load: float,
    load_diameter: float,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
    seat_height: float = 0.0,
) -> Noted:
    """Tangent stiffness of a shim stack at a ring load.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    load : float
        Total load over the full circle, 0 or more [N].
    load_diameter : float
        Diameter of the load circle, which is also the seat; above the clamp, up to the face shim's edge [mm].
    theory : {"large", "small"}
        Whether shims stiffen with their lift [-].
    modulus : float
        Modulus of elasticity, > 0 [GPa].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].
    seat_height : float
        Height of the seat over the hub, 0 to 5 [mm].

    Returns
    -------
    float
        Change of load per change of lift at the load circle [N/mm].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    ValidityError
        While the load does not lift the face shim off its seat.
    NoSolutionError
        If the solver does not settle.

    Notes
    -----
    The stack model of STACK_LIFT.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> round(stack_stiffness([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]], 0, 26), 1)
    185.6
    """
    model = stack_model(stack, load_diameter, theory, modulus, poisson, seat_height)
    states = model.states(load)
    stiffness = float(model.stiffness(states)[0])
    if not np.isfinite(stiffness):
        raise ValidityError(
            "the face shim is still on its seat at this load",
            parameter="load",
            found=load,
            allowed=f"above the opening load of {model.opening():.4g} N",
        )
    return Noted(stiffness, model.notes(states))


@cell_function(family="Stack", result="load")
def stack_opening(
    stack: StackRows,
    load_diameter: float,
    seat_height: float = 0.0,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
) -> float:
    """Load at which the face shim of a stack leaves its seat.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    load_diameter : float
        Diameter of the load circle, which is also the seat; above the clamp, up to the face shim's edge [mm].
    seat_height : float
        Height of the seat over the hub, 0 to 5 [mm].
    theory : {"large", "small"}
        Whether shims stiffen with their lift [-].
    modulus : float
        Modulus of elasticity, > 0 [GPa].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].

    Returns
    -------
    float
        Total load at the load circle, 0 if nothing presses the face shim down [N].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    NoSolutionError
        If the solver does not settle.

    Notes
    -----
    A ring thicker than its centering shim, or a seat above the hub, presses the face shim on
    its seat; the opening load is the seat's reaction with no other load on it.
    The stack model of STACK_LIFT.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> round(stack_opening([["shim", 30, 0.2, 1], ["clamp", 12, 0.3, 1]], 26, 0.1), 2)
    10.14
    """
    model = stack_model(stack, load_diameter, theory, modulus, poisson, seat_height)
    return model.opening()


@cell_function(family="Stack", result="lift")
def stack_pressure_lift(
    stack: StackRows,
    pressure: float,
    window_inner_diameter: float,
    window_outer_diameter: float,
    open_fraction: float = 1.0,
    seat_diameter: float | None = None,
    at_diameter: float | None = None,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
    seat_height: float = 0.0,
) -> Noted:
    """Lift of a shim stack under a pressure over its port window.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    pressure : float
        Pressure difference over the face shim, 0 or more [bar].
    window_inner_diameter : float
        Inner diameter of the port window, from the clamp on [mm].
    window_outer_diameter : float
        Outer diameter of the port window, up to the face shim's edge [mm].
    open_fraction : float
        Open part of the window, above 0, up to 1 [-].
    seat_diameter : float, optional
        Diameter of the seat circle; the window's outer diameter if left out [mm].
    at_diameter : float, optional
        Diameter at which the lift is read, on the face shim; the load circle if left out [mm].
    theory : {"large", "small"}
        Whether shims stiffen with their lift [-].
    modulus : float
        Modulus of elasticity, > 0 [GPa].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].
    seat_height : float
        Height of the seat over the hub, 0 to 5 [mm].

    Returns
    -------
    float
        Lift of the face shim above its flat position at at_diameter, else at the seat [mm].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    NoSolutionError
        If the solver does not settle.

    Notes
    -----
    Uniform pressure over the window times its open fraction.
    The stack model of STACK_LIFT.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> round(stack_pressure_lift([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]], 2, 18, 24, 0.6, 26), 4)
    0.0673
    """
    window = (window_inner_diameter, window_outer_diameter)
    seat = window_outer_diameter if seat_diameter is None else seat_diameter
    model = stack_model(stack, seat, theory, modulus, poisson, seat_height, window)
    states = model.states(pressure_load(pressure, window, open_fraction))
    return Noted(float(model.lift(states, at_diameter)[0]), model.notes(states))


@cell_function(family="Stack", result="pressure")
def stack_opening_pressure(
    stack: StackRows,
    window_inner_diameter: float,
    window_outer_diameter: float,
    open_fraction: float = 1.0,
    seat_diameter: float | None = None,
    seat_height: float = 0.0,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
) -> float:
    """Pressure over the port window at which the face shim leaves its seat.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    window_inner_diameter : float
        Inner diameter of the port window, from the clamp on [mm].
    window_outer_diameter : float
        Outer diameter of the port window, up to the face shim's edge [mm].
    open_fraction : float
        Open part of the window, above 0, up to 1 [-].
    seat_diameter : float, optional
        Diameter of the seat circle; the window's outer diameter if left out [mm].
    seat_height : float
        Height of the seat over the hub, 0 to 5 [mm].
    theory : {"large", "small"}
        Whether shims stiffen with their lift [-].
    modulus : float
        Modulus of elasticity, > 0 [GPa].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].

    Returns
    -------
    float
        Pressure difference, 0 if nothing presses the face shim down [bar].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    NoSolutionError
        If the solver does not settle.

    Notes
    -----
    Uniform pressure over the window times its open fraction.
    The stack model of STACK_LIFT.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> round(stack_opening_pressure([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]], 18, 24, 0.6, 26, 0.05), 3)
    1.463
    """
    window = (window_inner_diameter, window_outer_diameter)
    seat = window_outer_diameter if seat_diameter is None else seat_diameter
    model = stack_model(stack, seat, theory, modulus, poisson, seat_height, window)
    return model.opening() / pressure_load(1.0, window, open_fraction)


@cell_function(family="Stack", result="curve", columns=(("load", "N"), ("lift", "mm"), ("stiffness", "N/mm")))
def stack_curve(
    stack: StackRows,
    load_diameter: float,
    maximum_load: float,
    points: float = 25,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
    seat_height: float = 0.0,
) -> Noted:
    """Curve of load, lift and tangent stiffness of a shim stack.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    load_diameter : float
        Diameter of the load circle, which is also the seat; above the clamp, up to the face shim's edge [mm].
    maximum_load : float
        Largest load of the curve, > 0 [N].
    points : float
        Number of points from no load to the largest, 2 to 500 [-].
    theory : {"large", "small"}
        Whether shims stiffen with their lift [-].
    modulus : float
        Modulus of elasticity, > 0 [GPa].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].
    seat_height : float
        Height of the seat over the hub, 0 to 5 [mm].

    Returns
    -------
    table
        One row per point: load [N], lift [mm], stiffness [N/mm]; #N/A for the stiffness while
        the face shim is on its seat.

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    NoSolutionError
        If the solver does not settle.

    Notes
    -----
    The stack model of STACK_LIFT.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> curve = stack_curve([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]], 26, 20, 3)
    >>> [round(value, 2) for value in curve[1]]
    [10.0, 0.05, 199.91]
    """
    check_positive("maximum_load", maximum_load, "N")
    model = stack_model(stack, load_diameter, theory, modulus, poisson, seat_height)
    states = model.states(np.linspace(0.0, maximum_load, check_points(points)))
    seated = CellError("#N/A", "load: the face shim is still on its seat here.", "load")
    rows = [
        [load, lift, stiffness if np.isfinite(stiffness) else seated]
        for load, lift, stiffness in zip(
            states.loads.tolist(),
            model.lift(states).tolist(),
            model.stiffness(states).tolist(),
            strict=True,
        )
    ]
    return Noted(rows, model.notes(states))
