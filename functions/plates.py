"""One thin annular plate: deflection, stiffness and stress under ring loads.

Kirchhoff plate, axisymmetric, outer edge free, inner edge clamped (a shim) or
hinged (a loose ring, whose rigid lift is added by the stack). Everything here
is in closed form: the influence functions below are the building blocks of the
stack model.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dampcell.functions.checks import check_positive
from dampcell.functions.errors import InputError, ValidityError

__all__ = [
    "MODULUS",
    "POISSON",
    "Floats",
    "Plate",
    "flexural_rigidity",
    "membrane_kernel",
    "plate_deflection",
    "plate_stiffness",
    "plate_stress",
]

Floats = NDArray[np.float64]

MODULUS = 206.0
"""Modulus of elasticity of spring steel [GPa]; typical handbook value, from memory."""

POISSON = 0.3
"""Poisson's ratio of steel [-]; typical handbook value, from memory."""


def flexural_rigidity(thickness: float, modulus: float = MODULUS, poisson: float = POISSON) -> float:
    """Flexural rigidity of a plate.

    Parameters
    ----------
    thickness : float
        Plate thickness [mm], > 0.
    modulus : float
        Modulus of elasticity [GPa], > 0.
    poisson : float
        Poisson's ratio [-], 0 to below 0.5.

    Returns
    -------
    float
        Rigidity D = E t³ / (12 (1 − ν²)) [N.mm].

    Raises
    ------
    InputError
        If a parameter is outside its range.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959,
    chapter 1 (equation from memory, re-derived).

    Examples
    --------
    >>> round(flexural_rigidity(0.2), 3)
    150.916
    """
    check_positive("thickness", thickness, "mm")
    check_positive("modulus", modulus, "GPa")
    _check_poisson(poisson)
    return modulus * 1e3 * thickness**3 / (12.0 * (1.0 - poisson**2))


@dataclass(frozen=True, slots=True)
class Plate:
    """An annular plate of unit rigidity, for its influence functions.

    Parameters
    ----------
    inner : float
        Radius of the supported inner edge [mm], > 0.
    outer : float or ndarray
        Radius of the free outer edge [mm], > inner; an array of shape (k, 1, 1)
        asks for k plates at once, and its k leads the shape of every result.
    poisson : float
        Poisson's ratio [-].
    support : {"clamped", "hinged"}
        How the inner edge is held.

    Notes
    -----
    A ring load F at radius ρ leaves the shear F/(2πr) inside ρ and none outside.
    With L = ∇²w and θ = w' the plate equation D r L' = −F/(2π) (r < ρ) integrates to

        L(r) = L_b + (F/2πD) ln(ρ/r) for r < ρ, and L_b beyond,
        r θ(r) = c + L_b (r² − a²)/2 + (F/2πD) J(min(r, ρ)),
        J(x) = (x²/2) ln(ρ/x) + x²/4 − (a²/2) ln(ρ/a) − a²/4,

    where c = 0 for a clamped inner edge, and M_r(a) = 0 gives c for a hinged one;
    M_r(b) = 0 at the free edge gives L_b. All methods return these per unit F/D.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959,
    chapter 3, symmetrical bending of circular plates (from memory; the solution
    is re-derived here and checked numerically in the tests).
    """

    inner: float
    outer: float | Floats
    poisson: float = POISSON
    support: Literal["clamped", "hinged"] = "clamped"

    def deflection(self, radius: ArrayLike, load_radius: ArrayLike) -> Floats:
        """Deflection at each radius for a unit ring load at each load radius.

        Parameters
        ----------
        radius : array_like, shape (…, n)
            Where the deflection is read [mm], inner to outer.
        load_radius : array_like, shape (…, m)
            Where the load acts [mm], inner to outer.

        Returns
        -------
        ndarray, shape (…, n, m)
            w D / F [mm²]; symmetric by Maxwell's theorem.
        """
        r, rho, a = _column(radius), _row(load_radius), self.inner
        x = np.minimum(r, rho)
        edge, hinge = self._constants(rho)
        k = 0.5 * a**2 * np.log(rho / a) + 0.25 * a**2
        bent = (
            0.25 * x**2 * np.log(rho / x)
            + 0.25 * x**2
            - 0.25 * a**2 * np.log(rho / a)
            - 0.25 * a**2
            - k * np.log(x / a)
            + _moment(rho, rho, a) * np.log(r / x)
        )
        curved = 0.25 * (r**2 - a**2) - 0.5 * a**2 * np.log(r / a)
        return edge * curved + hinge * np.log(r / a) + bent / (2.0 * np.pi)

    def slope(self, radius: ArrayLike, load_radius: ArrayLike) -> Floats:
        """Slope dw/dr per unit F/D, shape (n, m) [mm]; see `deflection`."""
        r, rho, a = _column(radius), _row(load_radius), self.inner
        edge, hinge = self._constants(rho)
        bent = _moment(np.minimum(r, rho), rho, a) / (2.0 * np.pi)
        return (hinge + 0.5 * edge * (r**2 - a**2) + bent) / r

    def moments(self, radius: ArrayLike, load_radius: ArrayLike) -> tuple[Floats, Floats]:
        """Radial and tangential moment per length and unit F, two arrays of shape (n, m) [-]."""
        r, rho = _column(radius), _row(load_radius)
        edge, _ = self._constants(rho)
        laplacian = edge + np.log(np.maximum(rho / r, 1.0)) / (2.0 * np.pi)
        hoop = self.slope(radius, load_radius) / r
        nu = self.poisson
        return laplacian - (1.0 - nu) * hoop, nu * laplacian + (1.0 - nu) * hoop

    def _constants(self, rho: Floats) -> tuple[Floats, Floats]:
        a, b, nu = self.inner, self.outer, self.poisson
        bent = (1.0 - nu) * _moment(rho, rho, a)
        if self.support == "clamped":
            edge = bent / (2.0 * np.pi) / (b**2 - 0.5 * (1.0 - nu) * (b**2 - a**2))
            return edge, np.zeros_like(rho)
        span = 0.5 * (1.0 + nu) * (b**2 - a**2)
        edge = (a**2 * np.log(rho / a) + bent) / (2.0 * np.pi) / span
        hinge = a**2 * (edge + np.log(rho / a) / (2.0 * np.pi)) / (1.0 - nu)
        return edge, hinge


def membrane_kernel(
    radius: Floats,
    source: Floats,
    inner: float | Floats,
    outer: float | Floats,
    *,
    poisson: float,
    support: Literal["clamped", "hinged"] = "clamped",
) -> Floats:
    """In-plane force of an annulus from the radial strain that its slopes cause.

    Parameters
    ----------
    radius : ndarray, shape (…, n)
        Where the force is read [mm], inner to outer.
    source : ndarray, shape (…, m)
        Where the strain is [mm], inner to outer.
    inner, outer : float, or ndarray of shape (…, 1, 1)
        Radii of the inner and the free outer edge [mm].
    poisson : float
        Poisson's ratio [-].
    support : {"clamped", "hinged"}
        Whether the inner edge is held; a loose ring (hinged) is free in its plane.

    Returns
    -------
    ndarray, shape (…, n, m)
        K with r N_r(r) = E t ∫ K(r, s) q(s) ds, where q = (dw/dr)²/2 [-].

    Notes
    -----
    From r S'' + S' − S/r = −E t q for S = r N_r, with S(outer) = 0, and at the inner
    edge no radial displacement, S' = ν S/r, or for a ring S = 0. The membrane energy
    is π ∫∫ E t q K q dr ds.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959,
    chapter 13, large deflections (equations from memory, solved here).
    """
    r, s = radius[..., :, None], source[..., None, :]
    held = inner**2 * ((1.0 - poisson) / (1.0 + poisson) if support == "clamped" else -1.0)
    rim = outer + held / outer
    kernel: Floats = 0.5 * (
        (r + held / r) / rim * (outer / s - s / outer) - np.where(s < r, r / s - s / r, 0.0)
    )
    return kernel


def plate_stiffness(
    outer_diameter: float,
    clamp_diameter: float,
    thickness: float,
    *,
    load_diameter: float,
    modulus: float = MODULUS,
    poisson: float = POISSON,
) -> float:
    """Stiffness of one clamped plate, ring load and deflection on the same circle.

    Parameters
    ----------
    outer_diameter : float
        Outer diameter [mm], > clamp_diameter.
    clamp_diameter : float
        Clamp diameter [mm], > 0.
    thickness : float
        Thickness [mm], > 0.
    load_diameter : float
        Diameter of the load circle [mm], above clamp_diameter, up to outer_diameter.
    modulus : float
        Modulus of elasticity [GPa], > 0.
    poisson : float
        Poisson's ratio [-], 0 to below 0.5.

    Returns
    -------
    float
        Total load over deflection [N/mm].

    Raises
    ------
    InputError
        If a dimension is not positive, or the diameters are out of order.
    """
    plate = _checked_plate(outer_diameter, clamp_diameter, load_diameter, poisson)
    rigidity = flexural_rigidity(thickness, modulus, poisson)
    radius = 0.5 * load_diameter
    return rigidity / float(plate.deflection(radius, radius)[0, 0])


def plate_deflection(
    outer_diameter: float,
    clamp_diameter: float,
    thickness: float,
    *,
    load_diameter: float,
    load: float,
    at_diameter: float | None = None,
    modulus: float = MODULUS,
    poisson: float = POISSON,
) -> float:
    """Deflection of one clamped plate under a ring load, small lift.

    Parameters
    ----------
    outer_diameter, clamp_diameter, thickness, load_diameter, modulus, poisson : float
        As for `plate_stiffness`.
    load : float
        Total load [N].
    at_diameter : float, optional
        Where the deflection is read [mm], clamp_diameter to outer_diameter;
        the load circle if left out.

    Returns
    -------
    float
        Deflection [mm].

    Raises
    ------
    InputError
        As for `plate_stiffness`, and if at_diameter is not on the plate.
    """
    plate = _checked_plate(outer_diameter, clamp_diameter, load_diameter, poisson)
    read = load_diameter if at_diameter is None else at_diameter
    if not clamp_diameter <= read <= outer_diameter:
        raise InputError(
            "is not on the plate",
            parameter="at_diameter",
            found=read,
            allowed=f"{clamp_diameter:g} to {outer_diameter:g} mm",
        )
    rigidity = flexural_rigidity(thickness, modulus, poisson)
    return load * float(plate.deflection(0.5 * read, 0.5 * load_diameter)[0, 0]) / rigidity


def plate_stress(
    outer_diameter: float,
    clamp_diameter: float,
    thickness: float,
    *,
    load_diameter: float,
    load: float,
    poisson: float = POISSON,
) -> float:
    """Largest bending stress of one clamped plate, at the clamp edge.

    Parameters
    ----------
    outer_diameter, clamp_diameter, thickness, load_diameter, poisson : float
        As for `plate_stiffness`.
    load : float
        Total load [N].

    Returns
    -------
    float
        Radial surface stress 6 M_r / t² at the clamp [MPa]. The notch effect of
        a sharp clamp edge is not in it.

    Raises
    ------
    InputError
        As for `plate_stiffness`.
    """
    plate = _checked_plate(outer_diameter, clamp_diameter, load_diameter, poisson)
    check_positive("thickness", thickness, "mm")
    radial, _ = plate.moments(plate.inner, 0.5 * load_diameter)
    return 6.0 * load * float(radial[0, 0]) / thickness**2


def check_load_circle(load_diameter: float, clamp_diameter: float, outer_diameter: float) -> None:
    """Refuse a load circle that is not between the clamp and the edge of the face shim."""
    if not clamp_diameter < load_diameter <= outer_diameter:
        raise InputError(
            "the load circle must lie between the clamp and the edge of the face shim",
            parameter="load_diameter",
            found=load_diameter,
            allowed=f"above {clamp_diameter:g} and up to {outer_diameter:g} mm",
        )
    if load_diameter - clamp_diameter < 1e-3 * clamp_diameter:
        raise ValidityError(
            "the load circle is too near the clamp for plate theory",
            parameter="load_diameter",
            found=load_diameter,
            allowed=f"{1.001 * clamp_diameter:g} mm or more",
        )


def _check_poisson(poisson: float) -> None:
    if not 0.0 <= poisson < 0.5:
        raise InputError(
            "is no Poisson's ratio", parameter="poisson", found=poisson, allowed="0 to below 0.5"
        )


def _checked_plate(outer: float, clamp: float, load: float, poisson: float) -> Plate:
    for parameter, value in (("outer_diameter", outer), ("clamp_diameter", clamp), ("load_diameter", load)):
        check_positive(parameter, value, "mm")
    if not outer > clamp:
        raise InputError(
            "must be larger than the clamp",
            parameter="outer_diameter",
            found=outer,
            allowed=f"above {clamp:g} mm",
        )
    check_load_circle(load, clamp, outer)
    _check_poisson(poisson)
    return Plate(0.5 * clamp, 0.5 * outer, poisson)


def _column(values: ArrayLike) -> Floats:
    return np.atleast_1d(np.asarray(values, dtype=float))[..., :, None]


def _row(values: ArrayLike) -> Floats:
    return np.atleast_1d(np.asarray(values, dtype=float))[..., None, :]


def _moment(x: Floats, rho: Floats, a: float) -> Floats:
    result: Floats = 0.5 * x**2 * np.log(rho / x) + 0.25 * x**2 - 0.5 * a**2 * np.log(rho / a) - 0.25 * a**2
    return result
