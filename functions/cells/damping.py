"""Cell functions of damping: force against velocity of one build, its summary, cavitation."""

from __future__ import annotations

import numpy as np

from dampcell.functions.cells.builds import OilPairs, ValvePairs, build_model, lift_table
from dampcell.functions.cells.stacks import StackRows, check_points
from dampcell.functions.damping import Tolerances, damping_bands, summary
from dampcell.functions.flow import check_above
from dampcell.functions.oils import temperature_notes
from dampcell.functions.registry import CellError, Noted, Table, cell_function
from dampcell.functions.stacks import stack_from_rows

__all__ = ["cavitation_margin", "damping_curve", "damping_force", "damping_summary"]


@cell_function(family="Damping", result="force")
def damping_force(
    velocity: float,
    stack: StackRows,
    valve: ValvePairs,
    oil: OilPairs,
    temperature: float,
    clicks_open: float = 0.0,
) -> Noted:
    """Damping force of a valve build at a shaft velocity.

    Parameters
    ----------
    velocity : float
        Shaft velocity in the direction that lifts the stack, 0 to 20 [m/s].
    stack : table
        Rows from the piston face to the clamp, as for STACK_LIFT: part, outer diameter [mm],
        thickness [mm], quantity [-], inner diameter [mm].
    valve : table
        Names and values of ports, seat, bleed, adjuster and displaced area; see Notes of
        DAMPING_FORCE for all names [-].
    oil : table
        Names and values viscosity 40 [mm²/s], viscosity 100 [mm²/s] (or viscosity index [-]),
        density 15 [kg/m³]; or the three numbers in one row.
    temperature : float
        Oil temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].
    clicks_open : float
        Adjuster position counted from fully closed, 0 to its number of clicks [-].

    Returns
    -------
    float
        Force in the direction that lifts this stack (compression for a compression stack) [N].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    ValidityError
        If the oil is outside the range of its equations.
    NoSolutionError
        If the stack or the flow balance is not solved.

    Notes
    -----
    Oil is displaced by the area of the displaced diameter less the rod's. It shares out among the
    shims (ports in series with the gap under the face shim), bleed, needle and leak. The lift is
    that of STACK_LIFT, large theory, under the pressure that acts on the shim. Not in it: inertia,
    friction, gas force, the force of the moving oil on the shim.

    Names of the valve table: face (a or b, the face that meets the stack); for each face, with its
    letter before it: window inner diameter, window outer diameter, seat diameter, seat height,
    throat length [mm], throat area [mm²], open fraction, ports [-]; displaced diameter, rod
    diameter, bleed diameter, bleed length, needle seat diameter, needle travel per click, needle
    travel closed, leak diameter, wetting lift [mm], needle taper angle [deg], needle clicks,
    discharge coefficient [-], reservoir pressure (gauge) [bar]. Needed are the chosen face's
    window and seat diameters and throat area, and the displaced diameter; the others have
    defaults, which the help of the table gives.

    References
    ----------
    Timoshenko & Woinowsky-Krieger 1959 for the shims; Sampson 1891 and Rabie, Fluid Power
    Engineering, for the flow laws; ASTM D341 and API MPMS 11.1 for the oil (see the modules).

    Examples
    --------
    >>> round(damping_force(
    ...     1.0,
    ...     [["shim", 30, 0.2, 2], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ...     [["face", "a"], ["a window inner diameter", 18], ["a window outer diameter", 25],
    ...          ["a open fraction", 0.6], ["a seat diameter", 26], ["a throat area", 60],
    ...          ["a throat length", 6], ["a ports", 4], ["displaced diameter", 29],
    ...          ["rod diameter", 12], ["bleed diameter", 1.0], ["needle seat diameter", 3],
    ...          ["needle clicks", 14]],
    ...     [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]],
    ...     30,
    ...     6,
    ... ))
    552
    """
    model, fluid = build_model(stack, valve, oil, temperature, clicks_open)
    curve = model.curve(velocity, fluid)
    return Noted(float(curve.force[0]), model.lift_notes(curve) + temperature_notes(temperature))


@cell_function(
    family="Damping",
    result="curve",
    columns=(("velocity", "m/s"), ("force", "N"), ("low", "N"), ("high", "N")),
)
def damping_curve(
    stack: StackRows,
    valve: ValvePairs,
    oil: OilPairs,
    temperature: float,
    clicks_open: float = 0.0,
    maximum_velocity: float = 4.0,
    points: float = 25,
    thickness_tolerance: float = 0.005,
    clamp_tolerance: float = 0.0,
    seat_tolerance: float = 0.0,
) -> Noted:
    """Force against velocity of a valve build, with its tolerance band.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp, as for STACK_LIFT: part, outer diameter [mm],
        thickness [mm], quantity [-], inner diameter [mm].
    valve : table
        Names and values of ports, seat, bleed, adjuster and displaced area; see Notes of
        DAMPING_FORCE for all names [-].
    oil : table
        Names and values viscosity 40 [mm²/s], viscosity 100 [mm²/s] (or viscosity index [-]),
        density 15 [kg/m³]; or the three numbers in one row.
    temperature : float
        Oil temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].
    clicks_open : float
        Adjuster position counted from fully closed, 0 to its number of clicks [-].
    maximum_velocity : float
        Largest velocity of the curve, above 0, up to 20 [m/s].
    points : float
        Number of points from standstill to the largest velocity, 2 to 500 [-].
    thickness_tolerance : float
        Plus/minus on every thickness, up to half the thinnest; text "0" for none [mm].
    clamp_tolerance : float
        Plus/minus on the clamp diameter, 0 or more [mm].
    seat_tolerance : float
        Plus/minus on the seat diameter, 0 or more [mm].

    Returns
    -------
    table
        One row per point: velocity [m/s], force [N], and the lowest and highest force [N] within
        the tolerances.

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    ValidityError
        If the oil is outside the range of its equations.
    NoSolutionError
        If the stack or the flow balance is not solved.

    Notes
    -----
    The model of DAMPING_FORCE. Points are spaced closer at low velocity (square law). All
    tolerances are taken at their worst together; spacers and centering shims also against the rest.

    References
    ----------
    Timoshenko & Woinowsky-Krieger 1959 for the shims; Sampson 1891 and Rabie, Fluid Power
    Engineering, for the flow laws; ASTM D341 and API MPMS 11.1 for the oil (see the modules).

    Examples
    --------
    >>> found = damping_curve(
    ...     [["shim", 30, 0.2, 2], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ...     [["face", "a"], ["a window inner diameter", 18], ["a window outer diameter", 25],
    ...          ["a open fraction", 0.6], ["a seat diameter", 26], ["a throat area", 60],
    ...          ["a throat length", 6], ["a ports", 4], ["displaced diameter", 29],
    ...          ["rod diameter", 12], ["bleed diameter", 1.0], ["needle seat diameter", 3],
    ...          ["needle clicks", 14]],
    ...     [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]],
    ...     30,
    ...     6,
    ...     2.0,
    ...     5,
    ... )
    >>> [[round(value, 2) for value in row[:2]] for row in found[:2]]
    [[0.0, 0.0], [0.12, 147.85]]
    """
    points = check_points(points)
    check_above("maximum_velocity", maximum_velocity, "m/s")
    model, fluid = build_model(stack, valve, oil, temperature, clicks_open)
    speeds = maximum_velocity * np.linspace(0.0, 1.0, points) ** 2
    bands = damping_bands(
        stack_from_rows(stack),
        model.valve,
        clicks_open,
        velocities=speeds,
        fluid=fluid,
        tolerances=Tolerances(thickness_tolerance, clamp_tolerance, seat_tolerance),
        table=lift_table,
    )
    low, nominal, high = (band.tolist() for band in bands)
    rows = [list(row) for row in zip(speeds.tolist(), nominal, low, high, strict=True)]
    return Noted(
        rows, model.lift_notes(model.curve(maximum_velocity, fluid)) + temperature_notes(temperature)
    )


@cell_function(
    family="Damping",
    result="summary",
    columns=(
        ("low-speed slope", "N·s/m"),
        ("knee velocity", "m/s"),
        ("knee force", "N"),
        ("high-speed slope", "N·s/m"),
        ("opening pressure", "bar"),
    ),
)
def damping_summary(
    stack: StackRows,
    valve: ValvePairs,
    oil: OilPairs,
    temperature: float,
    clicks_open: float = 0.0,
    maximum_velocity: float = 4.0,
) -> Table:
    """Low-speed slope, knee and high-speed slope of a valve build.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp, as for STACK_LIFT: part, outer diameter [mm],
        thickness [mm], quantity [-], inner diameter [mm].
    valve : table
        Names and values of ports, seat, bleed, adjuster and displaced area; see Notes of
        DAMPING_FORCE for all names [-].
    oil : table
        Names and values viscosity 40 [mm²/s], viscosity 100 [mm²/s] (or viscosity index [-]),
        density 15 [kg/m³]; or the three numbers in one row.
    temperature : float
        Oil temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].
    clicks_open : float
        Adjuster position counted from fully closed, 0 to its number of clicks [-].
    maximum_velocity : float
        Largest velocity of the curve, above 0, up to 20 [m/s].

    Returns
    -------
    table
        One row: force over velocity near standstill [N·s/m], velocity [m/s] and force [N] at which
        half of the oil goes under the shims (#N/A if it never does), slope at the largest
        velocity [N·s/m], pressure that opens the face shim [bar].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    ValidityError
        If the oil is outside the range of its equations.
    NoSolutionError
        If the stack or the flow balance is not solved.

    Notes
    -----
    The model of DAMPING_FORCE.

    References
    ----------
    Timoshenko & Woinowsky-Krieger 1959 for the shims; Sampson 1891 and Rabie, Fluid Power
    Engineering, for the flow laws; ASTM D341 and API MPMS 11.1 for the oil (see the modules).

    Examples
    --------
    >>> found = damping_summary(
    ...     [["shim", 30, 0.2, 2], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ...     [["face", "a"], ["a window inner diameter", 18], ["a window outer diameter", 25],
    ...          ["a open fraction", 0.6], ["a seat diameter", 26], ["a throat area", 60],
    ...          ["a throat length", 6], ["a ports", 4], ["displaced diameter", 29],
    ...          ["rod diameter", 12], ["bleed diameter", 1.0], ["needle seat diameter", 3],
    ...          ["needle clicks", 14]],
    ...     [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]],
    ...     30,
    ...     6,
    ...     4.0,
    ... )
    >>> [f"{value:.3g}" for value in found[0]]
    ['379', '0.105', '136', '475', '0']
    """
    model, fluid = build_model(stack, valve, oil, temperature, clicks_open)
    found = summary(model, fluid, maximum_velocity)
    never = "maximum_velocity: the shims do not carry half of the oil up to this velocity."
    closed = CellError("#N/A", never, "maximum_velocity")
    values = (
        found.low_speed_slope,
        found.knee_velocity,
        found.knee_force,
        found.high_speed_slope,
        found.opening_pressure,
    )
    return [[value if np.isfinite(value) else closed for value in values]]


@cell_function(family="Damping", result="cavitation_margin")
def cavitation_margin(
    velocity: float,
    stack: StackRows,
    valve: ValvePairs,
    oil: OilPairs,
    temperature: float,
    clicks_open: float = 0.0,
) -> Noted:
    """Pressure left behind the valve before its jets cavitate.

    Parameters
    ----------
    velocity : float
        Shaft velocity in the direction that lifts the stack, 0 to 20 [m/s].
    stack : table
        Rows from the piston face to the clamp, as for STACK_LIFT: part, outer diameter [mm],
        thickness [mm], quantity [-], inner diameter [mm].
    valve : table
        Names and values of ports, seat, bleed, adjuster and displaced area; see Notes of
        DAMPING_FORCE for all names [-].
    oil : table
        Names and values viscosity 40 [mm²/s], viscosity 100 [mm²/s] (or viscosity index [-]),
        density 15 [kg/m³]; or the three numbers in one row.
    temperature : float
        Oil temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].
    clicks_open : float
        Adjuster position counted from fully closed, 0 to its number of clicks [-].

    Returns
    -------
    float
        Margin; 0 or less means cavitation: the force becomes uncertain and the oil foams [bar].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    ValidityError
        If the oil is outside the range of its equations.
    NoSolutionError
        If the stack or the flow balance is not solved.

    Notes
    -----
    Base valve (no rod diameter): absolute reservoir pressure less 0.4 times the pressure drop, a
    textbook inception index for sharp openings (0.2 to 0.5, from memory). Piston valve: absolute
    reservoir pressure less the whole pressure drop, as if no base valve helped. CAUTION: raise gas
    pressure only within the maker's limits.

    References
    ----------
    Timoshenko & Woinowsky-Krieger 1959 for the shims; Sampson 1891 and Rabie, Fluid Power
    Engineering, for the flow laws; ASTM D341 and API MPMS 11.1 for the oil (see the modules).

    Examples
    --------
    >>> round(cavitation_margin(
    ...     0.1,
    ...     [["shim", 30, 0.2, 2], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ...     [["face", "a"], ["a window inner diameter", 18], ["a window outer diameter", 25],
    ...          ["a open fraction", 0.6], ["a seat diameter", 26], ["a throat area", 60],
    ...          ["a throat length", 6], ["a ports", 4], ["displaced diameter", 29],
    ...          ["rod diameter", 12], ["bleed diameter", 1.0], ["needle seat diameter", 3],
    ...          ["needle clicks", 14]],
    ...     [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]],
    ...     30,
    ...     6,
    ... ), 2)
    -1.4
    """
    model, fluid = build_model(stack, valve, oil, temperature, clicks_open)
    curve = model.curve(velocity, fluid)
    margin = float(model.cavitation_margin(curve)[0])
    notes = ("the jets of this valve cavitate at this velocity",) if margin <= 0.0 else ()
    return Noted(margin, notes + temperature_notes(temperature))
