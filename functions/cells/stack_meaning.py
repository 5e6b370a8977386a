"""Cell functions on what a shim stack bears and means: stress, equivalent, tolerance, findings."""

from __future__ import annotations

from typing import Literal

from dampcell.functions.cells.stacks import STACK, StackRows, Theory, kept_model, stack_model
from dampcell.functions.plates import MODULUS, POISSON
from dampcell.functions.registry import Noted, Raw, Table, cell_function
from dampcell.functions.stack_reading import (
    equivalent_shims,
    equivalent_thickness,
    findings,
    tolerance_bands,
    worst_stress,
)
from dampcell.functions.stacks import ENDURANCE_LIMIT, stack_from_rows

__all__ = ["stack_check", "stack_equivalent", "stack_stress", "stack_tolerance"]


@cell_function(
    family="Stack", result="stress", columns=(("piece", "-"), ("stress", "MPa"), ("stress_ratio", "-"))
)
def stack_stress(
    stack: StackRows,
    load: float,
    load_diameter: float,
    endurance_limit: float = ENDURANCE_LIMIT,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
    seat_height: float = 0.0,
) -> Noted:
    """Most stressed piece of a stack: number from the face, stress, and ratio to an endurance limit.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    load : float
        Total load over the full circle, 0 or more [N].
    load_diameter : float
        Diameter of the load circle, which is also the seat; above the clamp, up to the face shim's edge [mm].
    endurance_limit : float
        Endurance limit of the spring steel, > 0; the default is typical, ask the maker [MPa].
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
        One row: number of the piece counted from the face [-], largest surface stress [MPa],
        stress over the endurance limit [-].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    NoSolutionError
        If the solver does not settle.

    Notes
    -----
    The larger of radial and tangential stress, bending and membrane, without the notch effect
    at the clamp; near an edge lift of twice the thickness it reads up to 10 % low, because a
    shim keeps its small-lift shape in this model.
    The stack model of STACK_LIFT.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> worst = stack_stress([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]], 20, 26)
    >>> [round(value, 2) for value in worst[0]]
    [1.0, 194.12, 0.28]
    """
    model = stack_model(stack, load_diameter, theory, modulus, poisson, seat_height)
    worst = worst_stress(model, load, endurance_limit)
    return Noted([[float(worst.number), worst.stress, worst.ratio]], model.notes(model.states(load)))


@cell_function(family="Stack", result="equivalent")
def stack_equivalent(
    stack: StackRows,
    load_diameter: float,
    measure: Literal["thickness", "shims"] = "thickness",
    load: float = 0.0,
    poisson: float = POISSON,
) -> float:
    """One shim, or a number of face shims, as stiff as the whole stack.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    load_diameter : float
        Diameter of the load circle, which is also the seat; above the clamp, up to the face shim's edge [mm].
    measure : {"thickness", "shims"}
        Whether the thickness of one shim or the number of face shims is wanted [-].
    load : float
        Load at which they are compared, 0 for the start of the lift [N].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].

    Returns
    -------
    float
        Thickness of one shim of the face diameter [mm], or number of face shims [-].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    ValidityError
        If the load does not lift the stack off its seat.

    Notes
    -----
    Small lift; load over lift is compared. The stiffness of one shim goes with the cube of its
    thickness. Adding up the stiffness of the single shims instead is wrong for tapered stacks.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> round(stack_equivalent([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]], 26, "shims"), 3)
    2.0
    """
    build = stack_from_rows(stack)
    equivalent = equivalent_thickness if measure == "thickness" else equivalent_shims
    return equivalent(build, load_diameter, load, poisson=poisson)


@cell_function(
    family="Stack", result="tolerance", columns=(("quantity", ""), ("low", ""), ("nominal", ""), ("high", ""))
)
def stack_tolerance(
    stack: StackRows,
    load: float,
    load_diameter: float,
    thickness_tolerance: float = 0.005,
    clamp_tolerance: float = 0.0,
    seat_tolerance: float = 0.0,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
    seat_height: float = 0.0,
) -> Table:
    """Low, nominal and high lift and stiffness of a stack within its tolerances.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp: part (shim, ring, centering, clamp), outer diameter [mm],
        thickness [mm], quantity [-], and for a ring its inner diameter [mm].
    load : float
        Total load over the full circle, 0 or more [N].
    load_diameter : float
        Diameter of the load circle, which is also the seat; above the clamp, up to the face shim's edge [mm].
    thickness_tolerance : float
        Plus/minus on every thickness, up to half the thinnest [mm].
    clamp_tolerance : float
        Plus/minus on the clamp diameter, 0 or more [mm].
    seat_tolerance : float
        Plus/minus on the diameter of the load circle, 0 or more [mm].
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
        Two rows, each low, nominal, high: lift [mm], and load over lift [N/mm].

    Raises
    ------
    InputError
        Naming the row or argument that has to be mended.
    ValidityError
        If the load does not lift the stack off its seat.

    Notes
    -----
    All tolerances at their worst together. The stiffness goes with the cube of the thickness:
    5 µm on a shim of 0.10 mm make 15 %.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> bands = stack_tolerance([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]], 20, 26)
    >>> [round(value, 4) for value in bands[0][1:]]
    [0.0929, 0.0988, 0.1049]
    """
    bands = tolerance_bands(
        stack_from_rows(stack),
        load_diameter,
        load,
        thickness_tolerance=thickness_tolerance,
        clamp_tolerance=clamp_tolerance,
        seat_tolerance=seat_tolerance,
        theory=theory,
        modulus=modulus,
        poisson=poisson,
        seat_height=seat_height,
        model=kept_model,
    )
    names = ("lift [mm]", "stiffness [N/mm]")
    return [[name, band.low, band.nominal, band.high] for name, band in zip(names, bands, strict=True)]


@cell_function(family="Stack", result="findings", columns=(("level", ""), ("finding", "")))
def stack_check(
    stack: Raw,
    load_diameter: float | None = None,
    load: float = 0.0,
) -> Table:
    """Plain-language findings on a stack: what is wrong with it, and what is worth knowing.

    Parameters
    ----------
    stack : table
        Rows from the piston face to the clamp, as for STACK_LIFT [mm]; a faulty one is
        reported, not refused [-].
    load_diameter : float, optional
        Diameter of the load circle, for preload and stress [mm].
    load : float, optional
        Load for range and stress, 0 to leave them out [N].

    Returns
    -------
    table
        One row per finding: "fault", "note" or "ok", and a sentence [-].

    Raises
    ------
    InputError
        If load_diameter or load is no number.

    Notes
    -----
    Faults are what STACK_LIFT would refuse. Notes name gaps, preload, loose rings, shims on which
    the thickness tolerance tells, and stress beyond a typical endurance limit.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapters 3 and 13
    (from memory, re-derived); checked against finite-element contact solutions.

    Examples
    --------
    >>> stack_check([["shim", 30, 0.2, 2], ["clamp", 12, 0.3, 1]])
    [['ok', 'nothing to remark']]
    """
    found = findings(
        lambda: stack_from_rows(STACK.parse(stack, parameter="stack")),
        load_diameter,
        load or None,
        model=kept_model,
    )
    return [[finding.level, finding.sentence] for finding in found] or [["ok", "nothing to remark"]]
