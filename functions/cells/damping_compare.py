"""Cell functions that compare damping: builds, oils, and the paths of the oil."""

from __future__ import annotations

import numpy as np

from dampcell.functions.cells.builds import PATHS, OilPairs, ValvePairs, build_model, oil_from_pairs
from dampcell.functions.cells.stacks import StackRows
from dampcell.functions.errors import InputError
from dampcell.functions.oils import temperature_notes
from dampcell.functions.registry import Noted, Numbers, cell_function

__all__ = ["damping_change", "damping_share", "oil_effect"]


@cell_function(family="Damping", result="force_change")
def damping_change(
    velocity: float,
    stack: StackRows,
    valve: ValvePairs,
    oil: OilPairs,
    temperature: float,
    clicks_open: float,
    base_stack: StackRows,
    base_valve: ValvePairs | None = None,
    base_oil: OilPairs | None = None,
    base_temperature: float | None = None,
    base_clicks_open: float | None = None,
) -> Noted:
    """Change of damping force against another build, in percent.

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
    base_stack : table
        Stack of the build compared against, as stack [-].
    base_valve : table, optional
        Its valve; the same valve if left out [-].
    base_oil : table, optional
        Its oil; the same oil if left out [-].
    base_temperature : float, optional
        Its oil temperature; the same if left out [°C].
    base_clicks_open : float, optional
        Its adjuster position; the same if left out, fully closed is the text "0" [-].

    Returns
    -------
    float
        100 (F/F_base − 1), negative if softer than the build compared against [%].

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
    The model of DAMPING_FORCE for both builds.

    References
    ----------
    Timoshenko & Woinowsky-Krieger 1959 for the shims; Sampson 1891 and Rabie, Fluid Power
    Engineering, for the flow laws; ASTM D341 and API MPMS 11.1 for the oil (see the modules).

    Examples
    --------
    >>> found = damping_change(
    ...     1.0,
    ...     [["shim", 30, 0.2, 1], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ...     [["face", "a"], ["a window inner diameter", 18], ["a window outer diameter", 25],
    ...          ["a open fraction", 0.6], ["a seat diameter", 26], ["a throat area", 60],
    ...          ["a throat length", 6], ["a ports", 4], ["displaced diameter", 29],
    ...          ["rod diameter", 12], ["bleed diameter", 1.0], ["needle seat diameter", 3],
    ...          ["needle clicks", 14]],
    ...     [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]],
    ...     30,
    ...     6,
    ...     [["shim", 30, 0.2, 2], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ... )
    >>> round(found, 1)
    -12.4
    """
    _check_moving(velocity)
    model, fluid = build_model(stack, valve, oil, temperature, clicks_open)
    base, base_fluid = build_model(
        base_stack,
        valve if base_valve is None else base_valve,
        oil if base_oil is None else base_oil,
        temperature if base_temperature is None else base_temperature,
        clicks_open if base_clicks_open is None else base_clicks_open,
    )
    curve = model.curve(velocity, fluid)
    against = base.curve(velocity, base_fluid)
    change = 100.0 * (float(curve.force[0]) / float(against.force[0]) - 1.0)
    return Noted(change, model.lift_notes(curve) + temperature_notes(temperature))


@cell_function(
    family="Damping",
    result="shares",
    columns=(("velocity", "m/s"), ("shims", "-"), ("bleed", "-"), ("needle", "-"), ("leak", "-")),
)
def damping_share(
    velocities: Numbers,
    stack: StackRows,
    valve: ValvePairs,
    oil: OilPairs,
    temperature: float,
    clicks_open: float = 0.0,
) -> Noted:
    """Which part of the oil goes under the shims, through bleed, needle and leak.

    Parameters
    ----------
    velocities : range
        Shaft velocities in the direction that lifts the stack, 0 to 20 [m/s].
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
    table
        One row per velocity: velocity [m/s], and the shares of the four paths, which add up to 1 [-].

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
    The model of DAMPING_FORCE. What carries most of the oil decides the force there.

    References
    ----------
    Timoshenko & Woinowsky-Krieger 1959 for the shims; Sampson 1891 and Rabie, Fluid Power
    Engineering, for the flow laws; ASTM D341 and API MPMS 11.1 for the oil (see the modules).

    Examples
    --------
    >>> found = damping_share(
    ...     [0.05, 1.0],
    ...     [["shim", 30, 0.2, 2], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ...     [["face", "a"], ["a window inner diameter", 18], ["a window outer diameter", 25],
    ...          ["a open fraction", 0.6], ["a seat diameter", 26], ["a throat area", 60],
    ...          ["a throat length", 6], ["a ports", 4], ["displaced diameter", 29],
    ...          ["rod diameter", 12], ["bleed diameter", 1.0], ["needle seat diameter", 3],
    ...          ["needle clicks", 14]],
    ...     [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]],
    ...     30,
    ...     6,
    ... )
    >>> [[round(value, 2) for value in row] for row in found]
    [[0.05, 0.17, 0.43, 0.38, 0.01], [1.0, 0.89, 0.06, 0.05, 0.0]]
    """
    model, fluid = build_model(stack, valve, oil, temperature, clicks_open)
    curve = model.curve(velocities, fluid)
    shares = curve.shares()
    columns = [shares.get(name, np.zeros(len(velocities))).tolist() for name in PATHS]
    rows = [list(row) for row in zip(velocities, *columns, strict=True)]
    return Noted(rows, temperature_notes(temperature))


@cell_function(family="Damping", result="force_change")
def oil_effect(
    velocity: float,
    stack: StackRows,
    valve: ValvePairs,
    oil: OilPairs,
    other_oil: OilPairs,
    temperature: float,
    clicks_open: float = 0.0,
    other_temperature: float | None = None,
) -> Noted:
    """Change of damping force when another oil goes in, in percent.

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
    other_oil : table
        The oil that is to replace it, as oil [-].
    temperature : float
        Oil temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].
    clicks_open : float
        Adjuster position counted from fully closed, 0 to its number of clicks [-].
    other_temperature : float, optional
        Temperature of the other oil; the same if left out [°C].

    Returns
    -------
    float
        100 (F_other/F − 1), negative if the other oil makes it softer [%].

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
    The model of DAMPING_FORCE for both oils. A lighter oil lowers the force at low velocity more
    than at high velocity, because the high-speed flow is mostly turbulent.

    References
    ----------
    Timoshenko & Woinowsky-Krieger 1959 for the shims; Sampson 1891 and Rabie, Fluid Power
    Engineering, for the flow laws; ASTM D341 and API MPMS 11.1 for the oil (see the modules).

    Examples
    --------
    >>> round(oil_effect(
    ...     0.05,
    ...     [["shim", 30, 0.2, 2], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ...     [["face", "a"], ["a window inner diameter", 18], ["a window outer diameter", 25],
    ...          ["a open fraction", 0.6], ["a seat diameter", 26], ["a throat area", 60],
    ...          ["a throat length", 6], ["a ports", 4], ["displaced diameter", 29],
    ...          ["rod diameter", 12], ["bleed diameter", 1.0], ["needle seat diameter", 3],
    ...          ["needle clicks", 14]],
    ...     [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]],
    ...     [["viscosity 40", 28], ["viscosity 100", 5.8], ["density 15", 865]],
    ...     30,
    ...     6,
    ... ), 1)
    16.0
    """
    _check_moving(velocity)
    model, fluid = build_model(stack, valve, oil, temperature, clicks_open)
    warmth = temperature if other_temperature is None else other_temperature
    before = model.curve(velocity, fluid)
    after = model.curve(velocity, oil_from_pairs(other_oil).at(warmth))
    change = 100.0 * (float(after.force[0]) / float(before.force[0]) - 1.0)
    return Noted(change, model.lift_notes(after) + temperature_notes(temperature))


def _check_moving(velocity: float) -> None:
    if not velocity > 0.0:
        raise InputError(
            "there is no force to compare at standstill",
            parameter="velocity",
            found=velocity,
            allowed="above 0 m/s",
        )
