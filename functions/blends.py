"""Blends: the viscosity of a mixture of oils, and the mixture for a wanted viscosity."""

from __future__ import annotations

import math
from collections.abc import Sequence

from dampcell.functions.errors import InputError, NoSolutionError
from dampcell.functions.oils import check_viscosity, double_log, from_double_log

__all__ = ["BLEND_NOTE", "blend_share", "blend_viscosity", "blending_number"]

BLEND_NOTE = (
    "oils with index improvers or on different bases may deviate from the blending rule; "
    "mix only what the makers allow, and measure if it matters"
)


def blend_viscosity(viscosities: Sequence[float], volumes: Sequence[float]) -> float:
    """Kinematic viscosity of a blend, at the temperature of the given viscosities.

    Parameters
    ----------
    viscosities : sequence of float
        Kinematic viscosities of the oils, all at one temperature, 0.21 to 2e7 [mm²/s].
    volumes : sequence of float
        Volumes of the oils, above 0; only their ratios matter [ml].

    Returns
    -------
    float
        Kinematic viscosity of the blend, between the thinnest and the thickest [mm²/s].

    Raises
    ------
    InputError
        If the lists are empty or of different length, or a volume is not above 0.
    ValidityError
        If a viscosity is outside the range of the equation.

    Notes
    -----
    The double logarithm of Z (see `oils.kinematic_viscosity`) of the blend is the mean of
    those of the oils, weighted by volume. A linear mean would be wrong by 10 % and
    more. Oils with index improvers, and oils on different bases, may deviate; mix
    only what the makers allow.

    References
    ----------
    ASTM D7152 (blending by volume on the double-logarithmic rule; equation from memory).

    Examples
    --------
    >>> round(blend_viscosity([14.0, 14.0], [1.0, 3.0]), 12)
    14.0
    """
    if not viscosities or len(viscosities) != len(volumes):
        raise InputError("each oil of a blend needs a viscosity and a volume")
    for number, (viscosity, volume) in enumerate(zip(viscosities, volumes, strict=True), start=1):
        check_viscosity(viscosity, f"oil {number}, viscosity")
        if not (0.0 < volume < math.inf):
            raise InputError(
                "must be above 0", parameter=f"oil {number}, volume", found=volume, allowed="above 0 ml"
            )
    total = math.fsum(volumes)
    mean = math.fsum(
        volume / total * double_log(viscosity) for viscosity, volume in zip(viscosities, volumes, strict=True)
    )
    return from_double_log(mean)


def blend_share(viscosity_a: float, viscosity_b: float, target_viscosity: float) -> float:
    """Share of the first of two oils that gives a blend the wanted viscosity.

    Parameters
    ----------
    viscosity_a, viscosity_b : float
        Kinematic viscosities of the two oils, at one temperature, 0.21 to 2e7 [mm²/s].
    target_viscosity : float
        Kinematic viscosity wanted at that temperature, from one to the other [mm²/s].

    Returns
    -------
    float
        Volume of the first oil over the volume of the blend, 0 to 1 [-].

    Raises
    ------
    InputError
        If the two oils have the same viscosity.
    ValidityError
        If a viscosity is outside the range of the equation.
    NoSolutionError
        If the target does not lie between the two oils.

    Notes
    -----
    The rule of `blend_viscosity`, solved for the share.

    References
    ----------
    ASTM D7152 (blending by volume on the double-logarithmic rule; equation from memory).

    Examples
    --------
    >>> blend_share(10.0, 40.0, 10.0)
    1.0
    """
    check_viscosity(viscosity_a, "viscosity_a")
    check_viscosity(viscosity_b, "viscosity_b")
    check_viscosity(target_viscosity, "target_viscosity")
    if viscosity_a == viscosity_b:
        raise InputError(
            "the two oils have the same viscosity, so no blend differs from them",
            parameter="viscosity_b",
            found=viscosity_b,
        )
    thin, thick = sorted((viscosity_a, viscosity_b))
    if not thin <= target_viscosity <= thick:
        raise NoSolutionError(
            "no blend of the two oils has this viscosity",
            parameter="target_viscosity",
            found=target_viscosity,
            allowed=f"{thin:g} to {thick:g} mm²/s",
        )
    first, second = double_log(viscosity_a), double_log(viscosity_b)
    return abs(double_log(target_viscosity) - second) / abs(first - second)


def blending_number(viscosity: float) -> float:
    """Viscosity blending number, which adds up by mass.

    Parameters
    ----------
    viscosity : float
        Kinematic viscosity, 0.21 to 2e7 [mm²/s].

    Returns
    -------
    float
        Blending number [-].

    Raises
    ------
    ValidityError
        If the viscosity is outside the range.

    Notes
    -----
    VBN = 14.534 ln ln(ν + 0.8) + 10.975. Given for comparison with other tools; blends
    here follow `blend_viscosity`.

    References
    ----------
    Refutas equation (Maples, Petroleum Refinery Process Economics, 2000; citation from memory).

    Examples
    --------
    >>> round(blending_number(10.0), 4)
    23.5747
    """
    check_viscosity(viscosity, "viscosity")
    return 14.534 * math.log(math.log(viscosity + 0.8)) + 10.975
