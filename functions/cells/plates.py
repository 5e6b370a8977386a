"""Cell functions of one plate: stiffness, deflection and stress of a single shim."""

from __future__ import annotations

from dampcell.functions import plates
from dampcell.functions.plates import MODULUS, POISSON
from dampcell.functions.registry import cell_function

__all__ = ["plate_deflection", "plate_stiffness", "plate_stress"]


@cell_function(family="Plate", result="stiffness")
def plate_stiffness(
    outer_diameter: float,
    clamp_diameter: float,
    thickness: float,
    load_diameter: float,
    modulus: float = MODULUS,
    poisson: float = POISSON,
) -> float:
    """Stiffness of one shim, ring load and deflection on the same circle, small lift.

    Parameters
    ----------
    outer_diameter : float
        Outer diameter of the shim, above the clamp diameter [mm].
    clamp_diameter : float
        Diameter of the clamp that holds it, > 0 [mm].
    thickness : float
        Thickness of the shim, > 0 [mm].
    load_diameter : float
        Diameter of the load circle, above the clamp and up to the outer diameter [mm].
    modulus : float
        Modulus of elasticity, > 0 [GPa].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].

    Returns
    -------
    float
        Total load over deflection [N/mm].

    Raises
    ------
    InputError
        If a dimension is not positive, or the diameters are out of order.

    Notes
    -----
    Thin plate (Kirchhoff), inner edge clamped at the clamp, outer edge free; closed
    form. Holds for lifts up to about a quarter of the thickness; beyond that the
    shim stiffens, see STACK_LIFT. Printed handbook coefficients for a ring at the
    free edge agree to their last digit; of the same plate under uniform pressure one
    printed row (outer over clamp 3) is 1.4 % too high. The exact solution is used.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapter 3
    (from memory, re-derived, and checked against a numerical solution).

    Examples
    --------
    >>> round(plate_stiffness(30, 12, 0.2, 26), 2)
    92.79
    """
    return plates.plate_stiffness(
        outer_diameter,
        clamp_diameter,
        thickness,
        load_diameter=load_diameter,
        modulus=modulus,
        poisson=poisson,
    )


@cell_function(family="Plate", result="deflection")
def plate_deflection(
    outer_diameter: float,
    clamp_diameter: float,
    thickness: float,
    load_diameter: float,
    load: float,
    at_diameter: float | None = None,
    modulus: float = MODULUS,
    poisson: float = POISSON,
) -> float:
    """Deflection of one shim under a ring load, small lift.

    Parameters
    ----------
    outer_diameter : float
        Outer diameter of the shim, above the clamp diameter [mm].
    clamp_diameter : float
        Diameter of the clamp that holds it, > 0 [mm].
    thickness : float
        Thickness of the shim, > 0 [mm].
    load_diameter : float
        Diameter of the load circle, above the clamp and up to the outer diameter [mm].
    load : float
        Total load over the full circle, any sign [N].
    at_diameter : float, optional
        Diameter at which the deflection is read, clamp to outer diameter; the load circle if left out [mm].
    modulus : float
        Modulus of elasticity, > 0 [GPa].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].

    Returns
    -------
    float
        Deflection, in the direction of the load [mm].

    Raises
    ------
    InputError
        If a dimension is not positive, the diameters are out of order, or
        at_diameter is not on the shim.

    Notes
    -----
    As for PLATE_STIFFNESS: thin plate, clamped inside, free outside, small lift.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapter 3
    (from memory, re-derived, and checked against a numerical solution).

    Examples
    --------
    >>> round(plate_deflection(30, 12, 0.2, 26, 10, 30), 4)
    0.1472
    """
    return plates.plate_deflection(
        outer_diameter,
        clamp_diameter,
        thickness,
        load_diameter=load_diameter,
        load=load,
        at_diameter=at_diameter,
        modulus=modulus,
        poisson=poisson,
    )


@cell_function(family="Plate", result="stress")
def plate_stress(
    outer_diameter: float,
    clamp_diameter: float,
    thickness: float,
    load_diameter: float,
    load: float,
    poisson: float = POISSON,
) -> float:
    """Largest bending stress of one shim under a ring load, at the clamp.

    Parameters
    ----------
    outer_diameter : float
        Outer diameter of the shim, above the clamp diameter [mm].
    clamp_diameter : float
        Diameter of the clamp that holds it, > 0 [mm].
    thickness : float
        Thickness of the shim, > 0 [mm].
    load_diameter : float
        Diameter of the load circle, above the clamp and up to the outer diameter [mm].
    load : float
        Total load over the full circle, any sign [N].
    poisson : float
        Poisson's ratio, 0 to below 0.5 [-].

    Returns
    -------
    float
        Radial surface stress at the clamp, without the notch effect of its edge [MPa].

    Raises
    ------
    InputError
        If a dimension is not positive, or the diameters are out of order.

    Notes
    -----
    6 M_r / t² with the radial moment per length M_r at the clamped edge; it does not
    depend on the modulus.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapter 3
    (from memory, re-derived, and checked against a numerical solution).

    Examples
    --------
    >>> round(plate_stress(30, 12, 0.2, 26, 10), 1)
    204.9
    """
    return plates.plate_stress(
        outer_diameter,
        clamp_diameter,
        thickness,
        load_diameter=load_diameter,
        load=load,
        poisson=poisson,
    )
