"""Oil: viscosity against temperature, and density.

The kinematic viscosity in mm²/s (the same as cSt) is the number that counts;
the "weight" on a bottle is no standard. Every function states its equation,
where it comes from, and how far it can be trusted. Index and grades are in
`grades`, other units and scales in `scales`, mixtures in `blends`.
"""

from __future__ import annotations

import math
from typing import Final

from dampcell.functions.errors import InputError, ValidityError

__all__ = [
    "check_order",
    "check_temperature",
    "check_viscosity",
    "density",
    "double_log",
    "fitted_viscosity",
    "from_double_log",
    "kinematic_viscosity",
    "temperature_notes",
]

ZERO_CELSIUS: Final = 273.15
COLDEST: Final = -60.0  # below and above these no damper oil is in use; the limits are ours
HOTTEST: Final = 200.0
THINNEST: Final = 0.21  # range of ASTM D341 with its low-viscosity term, from memory
THICKEST: Final = 2.0e7
DENSITY_RANGE: Final = (800.0, 1164.0)  # table 54D, from memory
LUBRICANT_K1: Final = 0.6278  # API MPMS chapter 11.1 (1980), lubricating oils, table 54D


def kinematic_viscosity(viscosity_40: float, viscosity_100: float, temperature: float) -> float:
    """Kinematic viscosity of an oil at a temperature, from its two data sheet values.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C, 0.21 to 2e7, above `viscosity_100` [mm²/s].
    viscosity_100 : float
        Kinematic viscosity at 100 °C, 0.21 to 2e7 [mm²/s].
    temperature : float
        Oil temperature, −60 to 200 [°C].

    Returns
    -------
    float
        Kinematic viscosity, 0.21 to 2e7 [mm²/s].

    Raises
    ------
    InputError
        If the viscosity does not fall from 40 to 100 °C.
    ValidityError
        If a value or the result is outside the range of the equation.

    Notes
    -----
    log10 log10 Z = A − B log10 T with Z = ν + 0.7 + exp(−1.47 − 1.84 ν − 0.51 ν²)
    and T in kelvin; A and B from the two given points. Good to about 1.3 %
    between 20 and 80 °C for ordinary oils; outside 0 to 100 °C it is an
    extrapolation: oils of high index are thicker in the cold than it says.

    References
    ----------
    ASTM D341 (viscosity-temperature equation with low-viscosity term; constants from memory).

    Examples
    --------
    >>> round(kinematic_viscosity(404.0, 28.0, 60.0), 3)
    132.126
    """
    check_viscosity(viscosity_40, "viscosity_40")
    check_viscosity(viscosity_100, "viscosity_100")
    check_order(viscosity_40, viscosity_100)
    return _walther(40.0, viscosity_40, 100.0, viscosity_100, temperature)


def fitted_viscosity(
    temperature_1: float,
    viscosity_1: float,
    temperature_2: float,
    *,
    viscosity_2: float,
    temperature: float,
) -> float:
    """Kinematic viscosity of an oil at a temperature, from two measured points.

    Parameters
    ----------
    temperature_1, temperature_2 : float
        Temperatures of the two measurements, different, −60 to 200 [°C].
    viscosity_1, viscosity_2 : float
        Kinematic viscosities measured there, 0.21 to 2e7, lower at the higher temperature [mm²/s].
    temperature : float
        Oil temperature, −60 to 200 [°C].

    Returns
    -------
    float
        Kinematic viscosity, 0.21 to 2e7 [mm²/s].

    Raises
    ------
    InputError
        If the temperatures are equal, or the viscosity does not fall as it gets warmer.
    ValidityError
        If a value or the result is outside the range of the equation.

    Notes
    -----
    As `kinematic_viscosity`. The nearer the two points, the more their errors grow.

    References
    ----------
    ASTM D341 (viscosity-temperature equation with low-viscosity term; constants from memory).

    Examples
    --------
    >>> round(fitted_viscosity(40.0, 68.0, 80.0, viscosity_2=14.85, temperature=100.0), 1)
    8.8
    """
    check_temperature(temperature_1, "temperature_1")
    check_temperature(temperature_2, "temperature_2")
    check_viscosity(viscosity_1, "viscosity_1")
    check_viscosity(viscosity_2, "viscosity_2")
    if temperature_1 == temperature_2:
        raise InputError(
            "the two measurements must be at different temperatures",
            parameter="temperature_2",
            found=temperature_2,
        )
    if (viscosity_2 - viscosity_1) * (temperature_2 - temperature_1) >= 0.0:
        raise InputError(
            "viscosity must fall as the oil gets warmer (are two values swapped?)",
            parameter="viscosity_2",
            found=viscosity_2,
            allowed=f"{'below' if temperature_2 > temperature_1 else 'above'} {viscosity_1:g} mm²/s",
        )
    return _walther(temperature_1, viscosity_1, temperature_2, viscosity_2, temperature)


def density(density_15: float, temperature: float) -> float:
    """Density of a lubricating oil at a temperature, from that at 15 °C.

    Parameters
    ----------
    density_15 : float
        Density at 15 °C, 800 to 1164 [kg/m³].
    temperature : float
        Oil temperature, −60 to 200 [°C].

    Returns
    -------
    float
        Density at the temperature, at ambient pressure [kg/m³].

    Raises
    ------
    ValidityError
        If the density or the temperature is outside the range.

    Notes
    -----
    ρ = ρ15 exp(−α Δt (1 + 0.8 α Δt)), α = 0.6278/ρ15 per kelvin, Δt = T − 15 °C.
    For lubricating oils on a mineral base. The table was made for −20 to 150 °C
    (from memory).

    References
    ----------
    API MPMS chapter 11.1 (1980) = ASTM D1250-80, table 54D; ranges from memory.

    Examples
    --------
    >>> round(density(870.0, 70.0), 2)
    835.09
    """
    check_temperature(temperature, "temperature")
    if not DENSITY_RANGE[0] <= density_15 <= DENSITY_RANGE[1]:
        hint = ", written in kg/m³" if density_15 < 2.0 else ""
        raise ValidityError(
            "is no density of a lubricating oil",
            parameter="density_15",
            found=density_15,
            allowed=f"800 to 1164 kg/m³{hint}",
        )
    alpha = LUBRICANT_K1 / density_15
    rise = temperature - 15.0
    return density_15 * math.exp(-alpha * rise * (1.0 + 0.8 * alpha * rise))


def temperature_notes(temperature: float) -> tuple[str, ...]:
    """Say what has to be told about a viscosity at this temperature.

    Parameters
    ----------
    temperature : float
        Oil temperature [°C].

    Returns
    -------
    tuple of text
        A note outside 0 to 100 °C, else nothing [-].

    Examples
    --------
    >>> temperature_notes(40.0)
    ()
    """
    if 0.0 <= temperature <= 100.0:
        return ()
    return (
        f"{temperature:g} °C is outside 0 to 100 °C, so the viscosity is extrapolated"
        + (
            ""
            if temperature > 0.0
            else ": it can be wrong by 7 % and more, and an oil of high index is thicker"
        ),
    )


def check_temperature(temperature: float, parameter: str) -> None:
    """Refuse a temperature that no damper oil has.

    Parameters
    ----------
    temperature : float
        Temperature, −60 to 200 [°C].
    parameter : text
        Name of the argument, for the sentence [-].

    Raises
    ------
    ValidityError
        If the temperature is outside the range.
    """
    if not COLDEST <= temperature <= HOTTEST:
        raise ValidityError(
            "makes no sense as the temperature of a damper oil",
            parameter=parameter,
            found=temperature,
            allowed="−60 to 200 °C",
        )


def check_order(viscosity_40: float, viscosity_100: float) -> None:
    """Refuse an oil that does not get thinner from 40 to 100 °C.

    Parameters
    ----------
    viscosity_40, viscosity_100 : float
        Kinematic viscosities at 40 and 100 °C [mm²/s].

    Raises
    ------
    InputError
        If the second is not below the first.
    """
    if viscosity_100 >= viscosity_40:
        raise InputError(
            "viscosity at 100 °C must be below that at 40 °C (are the two swapped?)",
            parameter="viscosity_100",
            found=viscosity_100,
            allowed=f"below {viscosity_40:g} mm²/s",
        )


def check_viscosity(viscosity: float, parameter: str) -> None:
    """Refuse a viscosity outside the range of the viscosity-temperature equation.

    Parameters
    ----------
    viscosity : float
        Kinematic viscosity, 0.21 to 2e7 [mm²/s].
    parameter : text
        Name of the argument, for the sentence [-].

    Raises
    ------
    ValidityError
        If the viscosity is outside the range.
    """
    if not THINNEST <= viscosity <= THICKEST:
        raise ValidityError(
            "is outside the range of ASTM D341",
            parameter=parameter,
            found=viscosity,
            allowed="0.21 to 20,000,000 mm²/s",
        )


def double_log(viscosity: float) -> float:
    """Double logarithm of Z, the scale on which viscosity is straight against log T.

    Parameters
    ----------
    viscosity : float
        Kinematic viscosity, 0.21 to 2e7 [mm²/s].

    Returns
    -------
    float
        log10 log10 Z, see `kinematic_viscosity` [-].

    Examples
    --------
    >>> round(double_log(9.3), 9)  # Z is 10 there, but for 1e-26
    0.0
    """
    z = viscosity + 0.7 + math.exp(-1.47 - 1.84 * viscosity - 0.51 * viscosity * viscosity)
    return math.log10(math.log10(z))


def from_double_log(value: float) -> float:
    """Viscosity that has this double logarithm of Z.

    Parameters
    ----------
    value : float
        log10 log10 Z of a viscosity of 0.21 to 2e7 mm²/s [-].

    Returns
    -------
    float
        Kinematic viscosity [mm²/s].

    Notes
    -----
    Newton's method on Z(ν), which rises and is convex, so that it cannot miss.

    Examples
    --------
    >>> round(from_double_log(0.0), 12)
    9.3
    """
    z = math.pow(10.0, math.pow(10.0, value))
    viscosity = max(z - 0.7, THINNEST)
    for _ in range(30):
        small = math.exp(-1.47 - 1.84 * viscosity - 0.51 * viscosity * viscosity)
        step = (viscosity + 0.7 + small - z) / (1.0 - (1.84 + 1.02 * viscosity) * small)
        viscosity -= step
        if abs(step) <= 1e-15 * viscosity:
            break
    return viscosity


def _walther(warm: float, thick: float, hot: float, thin: float, temperature: float) -> float:
    check_temperature(temperature, "temperature")
    one, two = math.log10(warm + ZERO_CELSIUS), math.log10(hot + ZERO_CELSIUS)
    first, second = double_log(thick), double_log(thin)
    part = (math.log10(temperature + ZERO_CELSIUS) - one) / (two - one)
    value = first + part * (second - first)
    # Compared before the powers are taken, which could overflow.
    if not double_log(THINNEST) - 1e-12 <= value <= double_log(THICKEST) + 1e-12:
        raise ValidityError(
            "at this temperature the oil leaves the range of ASTM D341, 0.21 to 20,000,000 mm²/s",
            parameter="temperature",
            found=temperature,
            allowed="a temperature nearer to the two that are known",
        )
    return from_double_log(value)
