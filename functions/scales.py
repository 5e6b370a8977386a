"""Other units and old scales of viscosity, each converted by way of mm²/s."""

from __future__ import annotations

import bisect
import difflib
import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from dampcell.functions.data import read_table
from dampcell.functions.errors import InputError, ValidityError
from dampcell.functions.oils import THICKEST, check_temperature
from dampcell.functions.units import convert

__all__ = [
    "Conversion",
    "convert_viscosity",
    "engler_degrees",
    "redwood_seconds",
    "saybolt_furol_seconds",
    "saybolt_universal_seconds",
]

Family = Literal["kinematic", "dynamic", "sus", "sfs", "engler", "redwood"]

SAYBOLT_TEMPERATURE: Final = convert(100.0, "F", "C")
FUROL_TEMPERATURES: Final = (convert(122.0, "F", "C"), convert(210.0, "F", "C"))
LEAST_SAYBOLT: Final = 1.81  # first line of ASTM D2161 table 1, 32.0 s; from memory
LEAST_FUROL: Final = (48.0, 50.0)  # ASTM D2161, 6.1: at 122 °F and 210 °F
LEAST_REDWOOD: Final = 34.0  # below this the seconds are not in the formula's range; from memory
DENSITIES: Final = (500.0, 2000.0)

_OLD: Final[dict[str, Family]] = {
    **dict.fromkeys(("sus", "ssu", "sayboltuniversal", "sayboltuniversalseconds", "sayboltseconds"), "sus"),
    **dict.fromkeys(("sfs", "ssf", "sayboltfurol", "sayboltfurolseconds"), "sfs"),
    **dict.fromkeys(
        ("°e", "e", "engler", "englerdegrees", "englerdegree", "degreesengler", "dege"), "engler"
    ),
    **dict.fromkeys(
        ("redwood1", "redwoodno1", "redwoodi", "redwood", "r1", "redwood1seconds", "rw1", "redwoodseconds"),
        "redwood",
    ),
}
_ALLOWED: Final = "mm²/s (cSt), m²/s, St, mPa·s (cP), Pa·s, P, SUS, SFS, °E, Redwood 1"


@dataclass(frozen=True, slots=True)
class Conversion:
    """A converted viscosity, with what has to be told about it.

    Parameters
    ----------
    value : float
        The number in the wanted unit or scale.
    notes : tuple of text
        Assumptions made and accuracy lost.
    """

    value: float
    notes: tuple[str, ...]


def convert_viscosity(
    value: float,
    from_unit: str,
    to_unit: str,
    *,
    density: float | None = None,
    temperature: float | None = None,
) -> Conversion:
    """Convert a viscosity between units and scales, old ones included.

    Parameters
    ----------
    value : float
        Viscosity in `from_unit`, above 0 [-].
    from_unit, to_unit : text
        mm²/s (cSt), m²/s, St, mPa·s (cP), Pa·s, P, SUS, SFS, °E, Redwood 1 [-].
    density : float, optional
        Density of the oil at the temperature meant, 500 to 2000; needed between
        kinematic and dynamic viscosity [kg/m³].
    temperature : float, optional
        Temperature of the measurement, −60 to 200; matters for Saybolt seconds,
        which are taken at 100 °F (universal) or 122 °F (Furol) if it is left out [°C].

    Returns
    -------
    Conversion
        The converted value, and notes.

    Raises
    ------
    InputError
        For an unknown unit, a missing density, or a value that is not above 0.
    ValidityError
        Where a scale is not defined.

    Notes
    -----
    Dynamic viscosity in mPa·s = kinematic viscosity in mm²/s × density / 1000. The
    temperature of the oil does not change; only the way to express it does.

    References
    ----------
    ASTM D2161 for Saybolt; see the functions of the scales.

    Examples
    --------
    >>> convert_viscosity(14.0, "cSt", "cP", density=850.0).value
    11.9
    """
    source, target = _family(from_unit, "from_unit"), _family(to_unit, "to_unit")
    if not 0.0 < value < math.inf:
        raise InputError("must be above 0", parameter="value", found=value, allowed=f"above 0 {from_unit}")
    if source == target:
        return Conversion(_within(value, source, from_unit, to_unit), ())
    if temperature is not None:
        check_temperature(temperature, "temperature")
    notes: list[str] = []
    kinematic = _to_kinematic(value, source, from_unit, density, temperature, notes)
    return Conversion(_from_kinematic(kinematic, target, to_unit, density, temperature, notes), tuple(notes))


def saybolt_universal_seconds(viscosity: float, temperature: float) -> float:
    """Saybolt universal seconds of a kinematic viscosity.

    Parameters
    ----------
    viscosity : float
        Kinematic viscosity, at least 1.81 [mm²/s].
    temperature : float
        Temperature of the measurement, −60 to 200 [°C].

    Returns
    -------
    float
        Efflux time in Saybolt universal seconds [s].

    Raises
    ------
    ValidityError
        Below 1.81 mm²/s (about 32 s), where the scale ends.

    Notes
    -----
    At 100 °F: 4.6324 ν + (1 + 0.03264 ν)/((3930.2 + 262.7 ν + 23.97 ν² + 1.646 ν³)·1e-5);
    at other temperatures times 1 + 0.000061 (°F − 100).

    References
    ----------
    ASTM D2161-93, conversion to Saybolt universal viscosity.

    Examples
    --------
    >>> round(saybolt_universal_seconds(1000.0, 37.77777777777778), 1)
    4632.4
    """
    if not viscosity >= LEAST_SAYBOLT:
        raise ValidityError(
            "Saybolt universal seconds are not defined for an oil so thin (ASTM D2161)",
            parameter="viscosity",
            found=viscosity,
            allowed="1.81 mm²/s or more, about 32 s",
        )
    return _universal(viscosity) * _saybolt_factor(temperature)


def saybolt_furol_seconds(viscosity: float, temperature: float) -> float:
    """Saybolt Furol seconds of a kinematic viscosity.

    Parameters
    ----------
    viscosity : float
        Kinematic viscosity, at least 48 at 50 °C and 50 at 98.9 °C [mm²/s].
    temperature : float
        Temperature of the measurement, 50 or 98.9 (122 or 210 °F) [°C].

    Returns
    -------
    float
        Efflux time in Saybolt Furol seconds [s].

    Raises
    ------
    ValidityError
        At another temperature, or for an oil too thin.

    Notes
    -----
    At 122 °F: 0.4717 ν + 13924/(ν² − 72.59 ν + 6816); at 210 °F: 0.4792 ν + 5610/(ν² + 2130).

    References
    ----------
    ASTM D2161, conversion to Saybolt Furol viscosity (equations from memory; limits 6.1).

    Examples
    --------
    >>> round(saybolt_furol_seconds(48.0, 50.0), 1)
    25.1
    """
    hot = _furol_is_hot(temperature)
    if not viscosity >= LEAST_FUROL[hot]:
        raise ValidityError(
            "Saybolt Furol seconds are not defined for an oil so thin (ASTM D2161)",
            parameter="viscosity",
            found=viscosity,
            allowed="48 mm²/s or more at 50 °C (122 °F), 50 mm²/s or more at 98.9 °C (210 °F)",
        )
    return _furol(viscosity, hot)


def engler_degrees(viscosity: float) -> float:
    """Engler degrees of a kinematic viscosity; approximate.

    Parameters
    ----------
    viscosity : float
        Kinematic viscosity, 1 to 4400 [mm²/s].

    Returns
    -------
    float
        Engler degrees [-].

    Raises
    ------
    ValidityError
        Outside the table.

    Notes
    -----
    Interpolated in a table, straight on logarithmic scales. Published formulas differ by
    up to 5 % from it and from each other.

    References
    ----------
    Hydraulic Institute Engineering Data Book, 1990, viscosity conversion table.

    Examples
    --------
    >>> round(engler_degrees(1980.0), 6)
    263.0
    """
    return _interpolated(viscosity, reverse=False)


def redwood_seconds(viscosity: float) -> float:
    """Redwood No. 1 seconds of a kinematic viscosity; approximate.

    Parameters
    ----------
    viscosity : float
        Kinematic viscosity, at least 3.6 [mm²/s].

    Returns
    -------
    float
        Efflux time in Redwood No. 1 seconds [s].

    Raises
    ------
    ValidityError
        Below 34 s, where the formula ends.

    Notes
    -----
    ν = 0.260 t − 179/t up to 100 s, ν = 0.247 t − 50/t above. Tables differ by up to 6 %.
    The two branches differ by 0.04 % where they meet.

    References
    ----------
    Formula in common use for the Institute of Petroleum's method IP 70, from memory.

    Examples
    --------
    >>> round(redwood_seconds(49.4 - 0.25), 9)
    200.0
    """
    low = 0.260 * LEAST_REDWOOD - 179.0 / LEAST_REDWOOD
    if not viscosity >= low:
        raise ValidityError(
            "Redwood No. 1 seconds are not defined for an oil so thin",
            parameter="viscosity",
            found=viscosity,
            allowed=f"{low:.2g} mm²/s or more, about 34 s",
        )
    thin = _efflux(viscosity, 0.260, 179.0)
    return thin if thin <= 100.0 else _efflux(viscosity, 0.247, 50.0)


def _efflux(viscosity: float, slope: float, loss: float) -> float:
    """Solve ν = slope·t − loss/t for the time."""
    return (viscosity + math.sqrt(viscosity * viscosity + 4.0 * slope * loss)) / (2.0 * slope)


def _universal(viscosity: float) -> float:
    v = viscosity
    return 4.6324 * v + (1.0 + 0.03264 * v) / ((3930.2 + v * (262.7 + v * (23.97 + v * 1.646))) * 1e-5)


def _saybolt_factor(temperature: float) -> float:
    return 1.0 + 0.000061 * (convert(temperature, "C", "F") - 100.0)


def _furol(viscosity: float, hot: bool) -> float:
    v = viscosity
    if hot:
        return 0.4792 * v + 5610.0 / (v * v + 2130.0)
    return 0.4717 * v + 13924.0 / (v * v - 72.59 * v + 6816.0)


def _furol_is_hot(temperature: float) -> bool:
    for hot, defined in enumerate(FUROL_TEMPERATURES):
        if abs(temperature - defined) <= 0.2:  # so that 99 °C, as data sheets round it, is taken
            return bool(hot)
    raise ValidityError(
        "Saybolt Furol seconds are defined at two temperatures only (ASTM D2161)",
        parameter="temperature",
        found=temperature,
        allowed="50 °C (122 °F) or 98.9 °C (210 °F)",
    )


@functools.cache
def _engler_table() -> tuple[list[float], list[float]]:
    rows = read_table("engler")
    return [math.log(float(row["viscosity"])) for row in rows], [
        math.log(float(row["engler"])) for row in rows
    ]


def _interpolated(value: float, *, reverse: bool) -> float:
    viscosities, degrees = _engler_table()
    known, wanted = (degrees, viscosities) if reverse else (viscosities, degrees)
    first, last = round(math.exp(known[0]), 9), round(math.exp(known[-1]), 9)
    if not first <= value <= last:
        raise ValidityError(
            "is outside the table of Engler degrees",
            parameter="value" if reverse else "viscosity",
            found=value,
            allowed=f"{first:g} to {last:g} {'°E' if reverse else 'mm²/s'}",
        )
    right = min(max(bisect.bisect_left(known, math.log(value)), 1), len(known) - 1)
    part = (math.log(value) - known[right - 1]) / (known[right] - known[right - 1])
    return math.exp(wanted[right - 1] + part * (wanted[right] - wanted[right - 1]))


def _rising_root(function: Callable[[float], float], target: float, low: float) -> float:
    """Find by bisection, on a logarithmic scale, where a rising function meets the target."""
    below, above = math.log(low), math.log(THICKEST)
    while above - below > 1e-15 * max(abs(above), 1.0):
        middle = 0.5 * (below + above)
        if middle in (below, above):
            break
        below, above = (middle, above) if function(math.exp(middle)) < target else (below, middle)
    return math.exp(0.5 * (below + above))


def _to_kinematic(
    value: float,
    family: Family,
    unit: str,
    density: float | None,
    temperature: float | None,
    notes: list[str],
) -> float:
    if family == "kinematic":
        return convert(value, unit, "cSt")
    if family == "dynamic":
        return convert(value, unit, "cP") / _density(density) * 1000.0
    if family == "engler":
        notes.append(_approximate("Engler degrees", "5 %"))
        return _interpolated(value, reverse=True)
    if family == "redwood":
        notes.append(_approximate("Redwood seconds", "6 %"))
        if value < LEAST_REDWOOD:
            raise ValidityError(
                "is below the range of Redwood No. 1 seconds",
                parameter="value",
                found=value,
                allowed="34 s or more",
            )
        return 0.260 * value - 179.0 / value if value <= 100.0 else 0.247 * value - 50.0 / value
    taken = _taken_at(family, temperature, notes)
    if family == "sus":
        seconds, least = value / _saybolt_factor(taken), LEAST_SAYBOLT
        rising = _universal
    else:
        hot = _furol_is_hot(taken)
        seconds, least = value, LEAST_FUROL[hot]
        rising = functools.partial(_furol, hot=hot)
    if not rising(least) <= seconds <= rising(THICKEST):
        raise ValidityError(
            "is outside the range of Saybolt seconds (ASTM D2161)",
            parameter="value",
            found=value,
            allowed=f"about {rising(least):.3g} s or more",
        )
    return _rising_root(rising, seconds, least)


def _from_kinematic(
    viscosity: float,
    family: Family,
    unit: str,
    density: float | None,
    temperature: float | None,
    notes: list[str],
) -> float:
    if family == "kinematic":
        return convert(viscosity, "cSt", unit)
    if family == "dynamic":
        return convert(viscosity * _density(density) / 1000.0, "cP", unit)
    if family == "engler":
        notes.append(_approximate("Engler degrees", "5 %"))
        return engler_degrees(viscosity)
    if family == "redwood":
        notes.append(_approximate("Redwood seconds", "6 %"))
        return redwood_seconds(viscosity)
    taken = _taken_at(family, temperature, notes)
    if family == "sus":
        return saybolt_universal_seconds(viscosity, taken)
    return saybolt_furol_seconds(viscosity, taken)


def _taken_at(family: Family, temperature: float | None, notes: list[str]) -> float:
    if temperature is not None:
        return temperature
    if family == "sus":
        notes.append("no temperature given: Saybolt universal seconds taken at 37.8 °C (100 °F)")
        return SAYBOLT_TEMPERATURE
    notes.append("no temperature given: Saybolt Furol seconds taken at 50 °C (122 °F)")
    return FUROL_TEMPERATURES[0]


def _within(value: float, family: Family, from_unit: str, to_unit: str) -> float:
    return convert(value, from_unit, to_unit) if family in ("kinematic", "dynamic") else value


def _density(density: float | None) -> float:
    if density is None:
        raise InputError(
            "is needed between kinematic and dynamic viscosity",
            parameter="density",
            allowed="density of the oil at that temperature, such as 860 kg/m³",
        )
    if not DENSITIES[0] <= density <= DENSITIES[1]:
        raise InputError(
            "is no density of an oil in kg/m³",
            parameter="density",
            found=density,
            allowed="500 to 2000 kg/m³",
        )
    return density


def _approximate(what: str, by: str) -> str:
    return f"{what} are approximate: published tables and formulas differ by up to {by}"


def _family(unit: str, parameter: str) -> Family:
    key = "".join(sign for sign in unit.casefold().replace("º", "°") if sign not in " .-_")
    if key in _OLD:
        return _OLD[key]
    for family, base in (("kinematic", "cSt"), ("dynamic", "cP")):
        try:
            convert(1.0, unit, base)
        except InputError as error:
            if "weight" in error.problem:
                raise InputError(error.problem, parameter=parameter, found=unit, allowed=_ALLOWED) from None
            continue
        return "kinematic" if family == "kinematic" else "dynamic"
    names = [name.strip() for part in _ALLOWED.split(",") for name in part.replace(")", "").split("(")]
    close = difflib.get_close_matches(unit.casefold(), [name.casefold() for name in names], n=1)
    hint = f': did you mean "{next(n for n in names if n.casefold() == close[0])}"?' if close else ""
    raise InputError(f"is no unit of viscosity{hint}", parameter=parameter, found=unit, allowed=_ALLOWED)
