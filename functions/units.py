"""Units: the one place where text and numbers become quantities.

pint knows factors and dimensions; what a person types never reaches its parser.
A strict pattern reads the number, a short table the spelling of the unit, and
only the table's own expressions go to pint.

Gauge and absolute pressure are two quantities with two names (``pressure`` and
``absolute_pressure``), never one unit: "psig" and "bara" are refused.
"""

from __future__ import annotations

import datetime
import difflib
import functools
import math
import numbers
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files
from typing import Final

import pint

from dampcell.functions.errors import InputError

__all__ = ["Quantity", "convert", "number_in", "parse_quantity", "shown_unit"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit, as read from text.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    unit : text
        Canonical spelling such as ``cSt``, ``N*m``, ``C``; empty for a bare number.
    """

    value: float
    unit: str


# Canonical unit: what pint is asked for, and the spellings of the workshop (any case, spaces, dots and
# the like are ignored). The first spelling is the one shown to people.
_UNITS: Final[dict[str, tuple[str, str]]] = {
    "-": ("dimensionless", "- 1"),
    "%": ("percent", "% percent"),
    "mm": ("mm", "mm millimetre millimeter"),
    "um": ("micrometer", "µm um micron microns"),
    "cm": ("cm", "cm"),
    "m": ("m", "m metre meter"),
    "in": ("inch", 'in inch inches " ″'),
    "thou": ("thou", "thou"),
    "mm2": ("mm**2", "mm² sqmm"),
    "cm2": ("cm**2", "cm²"),
    "m2": ("m**2", "m²"),
    "in2": ("inch**2", "in² sqin"),
    "mm3": ("mm**3", "mm³"),
    "ml": ("ml", "ml cc ccm cm³ millilitre milliliter"),
    "cl": ("cl", "cl"),
    "l": ("l", "l litre liter litres liters dm³"),
    "m3": ("m**3", "m³"),
    "in3": ("inch**3", "in³ cuin"),
    "US_floz": ("US_fluid_ounce", "USfloz US_floz flozUS"),
    "imp_floz": ("imperial_fluid_ounce", "impfloz imp_floz UKfloz flozimp"),
    "g": ("g", "g gram grams gramme"),
    "kg": ("kg", "kg"),
    "mg": ("mg", "mg"),
    "lb": ("lb", "lb lbs lbm"),
    "N": ("N", "N newton"),
    "kN": ("kN", "kN"),
    "kgf": ("kgf", "kgf kp"),
    "lbf": ("lbf", "lbf"),
    "N/mm": ("N/mm", "N/mm"),
    "N/m": ("N/m", "N/m"),
    "kN/m": ("kN/m", "kN/m"),
    "kgf/mm": ("kgf/mm", "kgf/mm kg/mm kp/mm"),
    "lbf/in": ("lbf/inch", "lbf/in lb/in lbs/in"),
    "Pa": ("Pa", "Pa pascal"),
    "hPa": ("hPa", "hPa"),
    "mPa": ("mPa", "mPa"),
    "kPa": ("kPa", "kPa"),
    "MPa": ("MPa", "MPa N/mm²"),
    "GPa": ("GPa", "GPa kN/mm²"),
    "mbar": ("mbar", "mbar"),
    "bar": ("bar", "bar bars"),
    "psi": ("psi", "psi lbf/in² lb/in²"),
    "ksi": ("ksi", "ksi"),
    "kgf/cm2": ("kgf/cm**2", "kgf/cm² kg/cm² kp/cm²"),
    "atm": ("atm", "atm"),
    "C": ("degC", "°C C degC celsius degreesC degreeC"),
    "F": ("degF", "°F F degF fahrenheit degreesF degreeF"),
    "K": ("kelvin", "K kelvin °K degK"),
    "1/K": ("1/kelvin", "1/K /K K-1 1/°C /°C"),
    "1/F": ("1/delta_degF", "1/°F /°F"),
    "cSt": ("mm**2/s", "mm²/s cSt cs centistokes centistoke mm²s-1"),
    "St": ("cm**2/s", "St stokes cm²/s"),
    "m2/s": ("m**2/s", "m²/s m²s-1"),
    "in2/s": ("inch**2/s", "in²/s"),
    "cP": ("mPa*s", "mPa·s cP cps cpoise centipoise mPas"),
    "P": ("poise", "P poise"),
    "Pa*s": ("Pa*s", "Pa·s Pas Ns/m²"),
    "reyn": ("psi*s", "reyn lbf·s/in²"),
    "kg/m3": ("kg/m**3", "kg/m³ g/l"),
    "g/cm3": ("g/cm**3", "g/cm³ g/ml g/cc kg/l kg/dm³ gcm-3"),
    "lb/ft3": ("lb/foot**3", "lb/ft³"),
    "m/s": ("m/s", "m/s mps"),
    "mm/s": ("mm/s", "mm/s"),
    "cm/s": ("cm/s", "cm/s"),
    "in/s": ("inch/s", "in/s ips"),
    "km/h": ("km/hour", "km/h kmh kph"),
    "N*s/m": ("N*s/m", "N·s/m Ns/m N/(m/s)"),
    "N*s/mm": ("N*s/mm", "N·s/mm Ns/mm"),
    "N*m": ("N*m", "N·m Nm N-m newtonmetre newtonmeter"),
    "N*cm": ("N*cm", "N·cm Ncm"),
    "N*mm": ("N*mm", "N·mm Nmm"),
    "kgf*m": ("kgf*m", "kgf·m kgfm kg·m kgm kpm"),
    "kgf*cm": ("kgf*cm", "kgf·cm kgfcm kg·cm kgcm"),
    "in*lbf": ("inch*lbf", "in·lbf inlbf lbfin in-lb inlb inlbs lbin lb-in lbsin"),
    "ft*lbf": ("foot*lbf", "ft·lbf ftlbf lbfft ft-lb ftlb ftlbs lbft lb-ft lbsft"),
    "ml/s": ("ml/s", "ml/s cc/s cm³/s"),
    "l/min": ("l/min", "l/min lpm"),
    "s": ("s", "s sec second seconds"),
    "ms": ("ms", "ms"),
    "min": ("min", "min minute minutes"),
    "h": ("hour", "h hr hrs hour hours"),
    "day": ("day", "day days d"),
    "deg": ("degree", "° deg degree degrees"),
    "rad": ("radian", "rad"),
    "Hz": ("1/s", "Hz 1/s"),
    "J": ("J", "J joule"),
    "W/(m*K)": ("W/m/kelvin", "W/(m·K)"),
    "J/(kg*K)": ("J/kg/kelvin", "J/(kg·K)"),
}

_WEIGHT: Final = (
    "a weight is no viscosity and no standard: look up the viscosity in cSt at 40 °C on the data sheet"
)
_ASK: Final[dict[str, str]] = {
    "oz": 'an ounce can be a mass or a volume: write "ml", "g" or "US fl oz"',
    "floz": 'US and imperial fluid ounces differ by 4 %: write "ml", "US fl oz" or "imp fl oz"',
    "gal": 'US and imperial gallons differ: write "l"',
    "qt": 'US and imperial quarts differ: write "l"',
    "pt": 'US and imperial pints differ: write "l"',
    "wt": _WEIGHT,
    "w": _WEIGHT,
    "weight": _WEIGHT,
    **dict.fromkeys(
        ("psig", "psia", "barg", "bara", "bar(g)", "bar(a)", "psi(g)", "psi(a)", "bargauge", "barabs"),
        "gauge and absolute pressure are two arguments, not two units: write bar or psi, "
        "and use the argument whose name says which one it is",
    ),
}
_ANGLES: Final = frozenset({"deg", "rad"})
_TEMPERATURES: Final = frozenset({"C", "F", "K"})
_LONGEST: Final = 60

# The sign may be U+2212 or an en dash, as word processors write them.
_NUMBER = re.compile(
    r"([+\-−–]?)\s?([0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)(e[+\-−]?[0-9]+)?(?![0-9])", re.IGNORECASE
)
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_FRACTION = re.compile(r"(\s[0-9]+)?\s?[/⁄]\s?[0-9]|\s?[¼-¾⅐-⅞]")
_RANGE = re.compile(r"\s?(-|−|–|—|to|\.\.+|…|~)\s?[0-9.,]", re.IGNORECASE)
# Separators within a unit that say nothing: "N·m", "N m", "in-lb", "mm2 / s", "fl. oz", "in.".
_IGNORED = re.compile(r"(?<=\w)\s*[\s.·*⋅∙•_^\-−]\s*(?=[\w(])|\s+(?=/)|(?<=[/°])\s+|(?<=\w)\.$")

# Made at import: pint's lazy default registry fails when two threads meet in it. Fractions keep
# factors exact. Of pint's 1,000 definitions a workshop needs these few, which load in no time.
_REGISTRY: Final[pint.UnitRegistry[Fraction]] = pint.UnitRegistry(
    files("dampcell.functions.data").joinpath("units.txt").read_text(encoding="utf-8").splitlines(),
    non_int_type=Fraction,
)


def parse_quantity(text: str) -> Quantity:
    """Read a number with an optional unit from text.

    Parameters
    ----------
    text : text
        Such as ``14 cSt``, ``2,5 bar``, ``88 in-lb``, ``40 °C`` or ``0.15``.

    Returns
    -------
    Quantity
        The number with the canonical unit, or with ``""`` if the text names none.

    Raises
    ------
    InputError
        If the text is no plain number with a known unit, or could mean two things.

    Notes
    -----
    A comma is a decimal comma, unless exactly three digits follow a group of one
    to three that does not start with 0: "1,000" could be one or a thousand, and
    is refused. Fractions of an inch, ranges, and the "weight" of an oil are
    refused with a sentence that says what to write.

    Examples
    --------
    >>> parse_quantity("2,5 bar")
    Quantity(value=2.5, unit='bar')
    >>> parse_quantity("88 in-lb")
    Quantity(value=88.0, unit='in*lbf')
    """
    return _parsed(text)


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Convert a number from one unit to another.

    Parameters
    ----------
    value : float
        Number in `from_unit`. Temperatures in C, F and K are points on the scale,
        not differences.
    from_unit, to_unit : text
        Any known spelling, such as ``psi``, ``mm²/s``, ``N·m``.

    Returns
    -------
    float
        Number in `to_unit`.

    Raises
    ------
    InputError
        For an unknown unit (naming the nearest known one), or for two units of
        different dimension (naming both).

    Examples
    --------
    >>> convert(1.0, "in", "mm")
    25.4
    >>> convert(40.0, "C", "F")
    104.0
    """
    return _converted(value, _canonical(from_unit), _canonical(to_unit))


def number_in(value: object, unit: str, *, parameter: str) -> float:
    """Take one raw cell value as a number in the wanted unit.

    Parameters
    ----------
    value : object
        A number, taken in `unit`; or text, which may carry its own unit.
    unit : text
        The unit that the argument is counted in; ``-`` for none.
    parameter : text
        Name of the argument, for error sentences.

    Returns
    -------
    float
        Finite number in `unit`.

    Raises
    ------
    InputError
        If the value is not a finite number, or its unit does not fit.

    Examples
    --------
    >>> number_in("0.006 in", "mm", parameter="thickness")
    0.1524
    >>> number_in(0.15, "mm", parameter="thickness")
    0.15
    """
    if type(value) is float:
        if math.isfinite(value):
            return value
        raise InputError("is not a finite number", parameter=parameter, found=value, allowed=_wanted(unit))
    if isinstance(value, str):
        try:
            return _text_in(value, unit)
        except InputError as error:
            raise InputError(
                error.problem, parameter=parameter, found=error.found, allowed=error.allowed or _wanted(unit)
            ) from None
    return _other_in(value, unit, parameter)


def shown_unit(unit: str) -> str:
    """Spell a unit as people read it.

    Parameters
    ----------
    unit : text
        Any known spelling.

    Returns
    -------
    text
        ``mm²/s``, ``°C``, ``N·m`` and so on; an empty text for no unit.

    Examples
    --------
    >>> shown_unit("cSt"), shown_unit("N*m"), shown_unit("-")
    ('mm²/s', 'N·m', '')
    """
    canonical = _canonical(unit)
    return "" if canonical == "-" else _UNITS[canonical][1].split()[0]


def _other_in(value: object, unit: str, parameter: str) -> float:
    if type(value).__name__ in ("bool", "bool_"):
        raise InputError("is true or false, not a number", parameter=parameter, allowed=_wanted(unit))
    if isinstance(value, datetime.date | datetime.time | datetime.timedelta):
        raise InputError(
            'is a date or time (a spreadsheet makes one of "1/16" or "2.5" if it may): '
            "format the cell as a number and write a decimal",
            parameter=parameter,
            found=str(value),
            allowed=_wanted(unit),
        )
    if not isinstance(value, numbers.Real):
        raise InputError(
            "is not a number", parameter=parameter, found=_brief(str(value)), allowed=_wanted(unit)
        )
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise InputError("is not a finite number", parameter=parameter, found=number, allowed=_wanted(unit))
    return number


@functools.lru_cache(maxsize=4096)
def _text_in(text: str, unit: str) -> float:
    quantity = _parsed(text)
    target = _canonical(unit)
    if not quantity.unit:
        return quantity.value
    if target == "K" and quantity.unit in ("C", "F"):
        raise InputError("is a temperature difference: write it in K", found=_brief(text))
    try:
        return _converted(quantity.value, quantity.unit, target)
    except InputError as error:
        problem = error.problem if error.allowed is None else f"{error.problem} ({error.allowed})"
        raise InputError(problem, found=_brief(text), allowed=_wanted(unit)) from None


@functools.lru_cache(maxsize=4096)
def _parsed(text: str) -> Quantity:
    trimmed = text.replace("\u00a0", " ").replace("\u202f", " ").strip()
    shown = _brief(trimmed)
    if not trimmed:
        raise InputError("is blank", allowed='a number, such as 0.15, or text such as "0.15 mm"')
    if len(trimmed) > _LONGEST:
        raise InputError("is too long for a number with a unit", found=shown)
    match = _NUMBER.match(trimmed)
    if match is None:
        raise InputError(
            _WEIGHT if trimmed.casefold().startswith("sae") else "is not a number",
            found=shown,
            allowed='a number, such as 0.15, or text such as "0.15 mm"',
        )
    sign, digits, exponent = match.groups()
    rest = trimmed[match.end() :]
    if _FRACTION.match(rest):
        raise InputError("is a fraction: write it as a decimal, such as 0.0625 in for 1/16 in", found=shown)
    if _RANGE.match(rest):
        raise InputError("is a range: give one number", found=shown)
    if rest[:1] in (".", ",") or re.match(r"\s(?!1/)[0-9]", rest):
        raise InputError("has separators within the number: write it plainly, such as 1000.5", found=shown)
    if _THOUSANDS.fullmatch(digits):
        plain, point = digits.replace(",", ""), digits.replace(",", ".")
        raise InputError(
            f"could mean {plain} or {point}: write it without a comma",
            found=shown,
            allowed=f"{plain} or {point}",
        )
    value = float(digits.replace(",", ".") + (exponent or "").replace("−", "-"))
    if not math.isfinite(value) or (value == 0.0 and digits.strip("0.,")):
        raise InputError("is too large or too small a number", found=shown)
    return Quantity(-value if sign in ("-", "−", "–") else value, _unit_of(rest.strip(), shown))


def _unit_of(spelling: str, text: str) -> str:
    if not spelling:
        return ""
    try:
        return _canonical(spelling)
    except InputError as error:
        raise InputError(error.problem, found=text, allowed=error.allowed) from None


def _key(spelling: str) -> str:
    # NFKC turns ² into 2, ℃ into °C and the micro sign into mu; it is never applied to the number.
    return _IGNORED.sub("", unicodedata.normalize("NFKC", spelling.replace("º", "°").strip()))


def _spellings(*, fold: bool) -> dict[str, str]:
    table: dict[str, str] = {}
    for canonical, (_, spellings) in _UNITS.items():
        for spelling in (canonical, *spellings.split()):
            key = _key(spelling)
            # The first unit to claim a spelling keeps it, except where case tells two apart (mPa and MPa).
            table.setdefault(key.casefold() if fold else key, canonical)
    return table


_EXACT: Final = _spellings(fold=False)
_FOLDED: Final = _spellings(fold=True) | {"mpa": "MPa", "": "-"}  # "mPa" is exact; sloppy case means MPa


@functools.lru_cache(maxsize=1024)
def _canonical(spelling: str) -> str:
    key = _key(spelling)
    found = _EXACT.get(key) or _FOLDED.get(key.casefold())
    if found is not None:
        return found
    asked = key.casefold()
    known_no_unit = _ASK.get(asked) or (_WEIGHT if re.match(r"w[0-9]|wt|sae", asked) else None)
    if known_no_unit:
        raise InputError(known_no_unit, found=_brief(spelling))
    close = difflib.get_close_matches(asked, _FOLDED, n=5, cutoff=0.6)
    close.sort(key=lambda name: sorted(name) != sorted(asked))  # swapped letters first: "bra" is "bar"
    hint = f': did you mean "{shown_unit(close[0])}"?' if close else ""
    raise InputError(f"unknown unit{hint}", found=_brief(spelling))


def _converted(value: float, source: str, target: str) -> float:
    if source == target:
        return value
    if source in _TEMPERATURES and target in _TEMPERATURES:
        return _temperature(value, source, target)
    factor = _factor(source, target)
    # Dividing by a whole number keeps decimals clean: 1500 g is 1.5 kg to the last digit.
    return value / factor.denominator if factor.numerator == 1 else value * float(factor)


def _temperature(value: float, source: str, target: str) -> float:
    celsius = {"C": value, "F": (value - 32.0) * 5.0 / 9.0, "K": value - 273.15}[source]
    return {"C": celsius, "F": celsius * 9.0 / 5.0 + 32.0, "K": celsius + 273.15}[target]


@functools.cache
def _factor(source: str, target: str) -> Fraction:
    start, end = (_REGISTRY.Quantity(Fraction(1), _UNITS[unit][0]) for unit in (source, target))
    # pint counts an angle as a plain number; here "30°" is never a fraction.
    alike = start.dimensionality == end.dimensionality and (source in _ANGLES) == (target in _ANGLES)
    if not alike:
        raise InputError(
            f"{_named(source)} cannot be converted to {_named(target)}", allowed=_hint(source, target)
        )
    return Fraction((start / end).to_base_units().magnitude)


def _hint(source: str, target: str) -> str | None:
    if {source, target} & {"kg", "lb", "g"} and {source, target} & {"N", "kN"}:
        return "kg, g and lb are masses; a force is in N, kgf or lbf"
    if {source, target} <= {"cSt", "St", "m2/s", "in2/s", "cP", "P", "Pa*s", "reyn"}:
        return "kinematic and dynamic viscosity differ by the density: see OIL_CONVERT"
    if source == "deg" and target in _TEMPERATURES:
        return "° alone is an angle: write °C or °F"
    return None


def _named(unit: str) -> str:
    return shown_unit(unit) or "a plain number"


def _wanted(unit: str) -> str:
    shown = shown_unit(unit)
    return f"a number in {shown}" if shown else "a number without a unit"


def _brief(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"
