"""Flow paths of a damper valve: pressure difference against volume flow, and back.

Every path is a small frozen record with ``pressure(flow, fluid)`` and
``flow(pressure, fluid)`` for floats or arrays. One law serves all openings,

    Δp = ρ/2 v² ((C L/D + E)/Re + K),  v = Q/A,  Re = v D/ν,

a laminar part (duct friction C L/D, creeping flow through the ends E) and a
kinetic part K. It is Δp = a Q + b Q², with a inverse in closed form: zero at
zero, odd, smooth and strictly increasing; a goes with the viscosity alone, b
with the density alone. Lengths in mm, flow in ml/s, pressure differences in bar.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dampcell.functions.errors import InputError, NoSolutionError

__all__ = [
    "DISCHARGE_SHARP",
    "END_ROUND",
    "END_SLIT",
    "FRICTION_ROUND",
    "FRICTION_SLIT",
    "LOSS_SHARP_HOLE",
    "AnnularGap",
    "Floats",
    "Fluid",
    "Hole",
    "Opening",
    "Orifice",
    "Path",
    "QuadraticPath",
    "check_above",
    "check_discharge",
    "check_within",
    "critical_reynolds_flow",
    "finite",
    "quadratic_flow",
]

Floats = NDArray[np.float64]

DISCHARGE_SHARP = math.pi / (math.pi + 2.0)
"""Discharge coefficient of a sharp edge, turbulent limit [-], 0.611.

Rabie, Fluid Power Engineering, McGraw-Hill, p. 27, eq. 2.39 (there after Merritt 1967).
"""

LOSS_SHARP_HOLE = 1.5
"""Kinetic loss of a short hole with a sharp entrance, turbulent limit [-].

Half a velocity head at the entrance and one at the exit; the constant of
Rabie, Fluid Power Engineering, p. 28, eq. 2.40 (there after Merritt 1967).
"""

END_ROUND = 12.0 * math.pi
"""Viscous end constant E of a round opening [-]: Sampson 1891, Q = Δp d³/(24 μ), written with Re."""

END_SLIT = 128.0 / math.pi
"""Viscous end constant E of a slit [-]: Hasimoto 1958, Q = π w² Δp/(32 μ) per length, from memory."""

FRICTION_ROUND = 64.0
"""Laminar friction constant f Re of a round duct [-] (Hagen-Poiseuille)."""

FRICTION_SLIT = 96.0
"""Laminar friction constant f Re between parallel walls, D = twice the gap [-]."""

TURBULENT_ONSET = 2300.0
"""Reynolds number above which duct friction turns turbulent [-]; common practice, no source."""

_PER_MM = 1e-5  # mPa·s/mm³ -> bar/(ml/s), and also kg/m³/mm⁴ -> bar/(ml/s)²


@dataclass(frozen=True, slots=True)
class Fluid:
    """The oil at its temperature.

    Parameters
    ----------
    density : float
        Density [kg/m3], > 0.
    kinematic_viscosity : float
        Kinematic viscosity [mm2/s], > 0.

    Raises
    ------
    InputError
        If one of them is not a finite number above 0.

    Examples
    --------
    >>> Fluid(density=850.0, kinematic_viscosity=15.0).dynamic_viscosity
    12.75
    """

    density: float
    kinematic_viscosity: float

    def __post_init__(self) -> None:
        check_above("density", self.density, "kg/m3")
        check_above("kinematic_viscosity", self.kinematic_viscosity, "mm2/s")

    @property
    def dynamic_viscosity(self) -> float:
        """Dynamic viscosity μ = ρ ν [mPa.s]."""
        return self.density * self.kinematic_viscosity / 1000.0


class Path(ABC):
    """A flow path: pressure difference and volume flow rise together, zero at zero."""

    __slots__ = ()

    def pressure(self, flow: ArrayLike, fluid: Fluid) -> Floats:
        """Pressure difference that drives a flow.

        Parameters
        ----------
        flow : array_like
            Volume flow [ml/s]; negative is the other direction.
        fluid : Fluid
            The oil.

        Returns
        -------
        ndarray
            Pressure difference [bar], of the shape of flow.

        Raises
        ------
        InputError
            If a flow is not finite.
        NoSolutionError
            If the path is closed, so that no pressure passes the flow.
        """
        found = self._pressure(finite("flow", flow, "ml/s"), fluid)
        if not np.all(np.isfinite(found)):
            raise NoSolutionError("the path is closed: no pressure passes this flow", parameter="flow")
        return found

    def flow(self, pressure: ArrayLike, fluid: Fluid) -> Floats:
        """Flow that a pressure difference drives.

        Parameters
        ----------
        pressure : array_like
            Pressure difference [bar]; negative is the other direction.
        fluid : Fluid
            The oil.

        Returns
        -------
        ndarray
            Volume flow [ml/s], of the shape of pressure.

        Raises
        ------
        InputError
            If a pressure is not finite.
        """
        return self._flow(finite("pressure", pressure, "bar"), fluid)

    @abstractmethod
    def _pressure(self, flow: Floats, fluid: Fluid) -> Floats:
        """As `pressure`, unchecked; infinite where the path is closed."""

    @abstractmethod
    def _flow(self, pressure: Floats, fluid: Fluid) -> Floats:
        """As `flow`, unchecked."""


class QuadraticPath(Path):
    """A path that obeys Δp = a Q + b Q |Q|."""

    __slots__ = ()

    @abstractmethod
    def coefficients(self, fluid: Fluid) -> tuple[Floats, Floats]:
        """Return a [bar.s/ml] and b [bar.s²/ml²]; a is infinite where the path is closed."""

    def _pressure(self, flow: Floats, fluid: Fluid) -> Floats:
        a, b = self.coefficients(fluid)
        with np.errstate(invalid="ignore"):
            found = flow * (a + b * np.abs(flow))
        return np.asarray(np.where(flow == 0.0, 0.0, found))

    def _flow(self, pressure: Floats, fluid: Fluid) -> Floats:
        return quadratic_flow(pressure, *self.coefficients(fluid))


def quadratic_flow(pressure: Floats, a: Floats, b: Floats) -> Floats:
    """Flow [ml/s] that obeys Δp = a Q + b Q |Q| at pressure differences [bar]; 0 where a is infinite."""
    # This form of the root loses no digits where one part is far smaller than the other.
    return np.asarray(2.0 * pressure / (a + np.sqrt(a * a + 4.0 * b * np.abs(pressure))))


class Opening(QuadraticPath):
    """An opening of a known shape; see the module's law."""

    __slots__ = ()

    @abstractmethod
    def _shape(self) -> tuple[Floats, Floats, Floats, float]:
        """Return total area A [mm²], hydraulic diameter D [mm], C L/D + E [-] and K [-]."""

    def coefficients(self, fluid: Fluid) -> tuple[Floats, Floats]:
        """Return a [bar.s/ml] and b [bar.s²/ml²]; a is infinite where the opening is closed."""
        area, diameter, viscous, kinetic = self._shape()
        open_ = area > 0.0
        with np.errstate(divide="ignore", invalid="ignore"):
            a = 0.5 * _PER_MM * fluid.dynamic_viscosity * viscous / (area * diameter)
            b = 0.5 * _PER_MM * fluid.density * kinetic / area**2
        return np.asarray(np.where(open_, a, np.inf)), np.asarray(np.where(open_, b, 0.0))

    def reynolds(self, flow: ArrayLike, fluid: Fluid) -> Floats:
        """Reynolds number v D/ν at a flow [ml/s]; 0 where closed [-]."""
        area, diameter, _, _ = self._shape()
        speed = 1000.0 * np.abs(finite("flow", flow, "ml/s")) / np.where(area > 0.0, area, np.inf)
        return np.asarray(speed * diameter / fluid.kinematic_viscosity)

    def discharge_coefficient_at(self, flow: ArrayLike, fluid: Fluid) -> Floats:
        """Discharge coefficient Q / (A √(2 Δp/ρ)) at a flow [ml/s], as tables of orifices give it [-]."""
        _, _, viscous, kinetic = self._shape()
        reynolds = self.reynolds(flow, fluid)
        return np.asarray(np.sqrt(reynolds / (viscous + kinetic * reynolds)))


@dataclass(frozen=True, slots=True)
class Hole(Opening):
    """A drilled hole or port throat, short or long: bleed hole, port, passage.

    Parameters
    ----------
    diameter : float
        Diameter [mm], > 0; the hydraulic diameter 4 A/U if the throat is not round.
    length : float
        Length [mm], ≥ 0.
    quantity : float
        Number of equal holes side by side [-], > 0.
    area : float, optional
        Area of one throat [mm2], > 0; that of a round hole if left out.
    loss_coefficient : float
        Kinetic losses of entrance and exit, in velocity heads [-], > 0.
    friction_constant : float
        Laminar f Re of the throat's shape [-], > 0: 64 round, 96 slit, 57 square (from memory).

    Raises
    ------
    InputError
        If a dimension is outside its range.

    Notes
    -----
    Hagen-Poiseuille along the length, Sampson's creeping flow through both ends,
    and a constant kinetic loss: Δp = ρ/2 v² ((64 L/D + 12π)/Re + K).
    K = 1.5 is the turbulent limit of a sharp entrance (see LOSS_SHARP_HOLE); a well
    rounded one has about 1.05 (from memory). Where the flow does not attach inside (length below
    about half the diameter) use `Orifice`.

    What others give (1.5 mm wide, 5 mm long; our pressure drop over theirs at Re 17,
    170, 1000, 4500): Lichtarowicz, Duggins & Markland 1965, a fit to measured holes of
    L/D 2 to 10: 1.10, 0.91, 0.93, 0.97; Merritt's two branches (Rabie eq. 2.40 and 2.41):
    1.10, 0.87, 0.76, 0.83. So 10 to 20 % in pressure is what is known of such a hole;
    the rounding of its edge matters more.

    Above Re 2300 duct friction is turbulent and a little larger: see `friction_excess`.

    References
    ----------
    Sampson, Phil. Trans. R. Soc. A 182 (1891) 449. Rabie, Fluid Power Engineering,
    McGraw-Hill, p. 28. Lichtarowicz et al., J. Mech. Eng. Sci. 7 (1965) 210 (from memory).

    Examples
    --------
    >>> bleed = Hole(diameter=1.5, length=5.0)
    >>> oil = Fluid(density=850.0, kinematic_viscosity=15.0)
    >>> round(float(bleed.pressure(4.0, oil)), 4)
    0.0568
    >>> round(float(bleed.flow(0.0568, oil)), 2)
    4.0
    """

    diameter: float
    length: float
    quantity: float = 1.0
    area: float | None = None
    loss_coefficient: float = LOSS_SHARP_HOLE
    friction_constant: float = FRICTION_ROUND

    def __post_init__(self) -> None:
        _check_throat(self.diameter, self.quantity, self.area)
        check_above("length", self.length, "mm", or_zero=True)
        check_above("loss_coefficient", self.loss_coefficient, "")
        check_above("friction_constant", self.friction_constant, "")

    def _shape(self) -> tuple[Floats, Floats, Floats, float]:
        viscous = self.friction_constant * self.length / self.diameter + END_ROUND
        return *_throat(self.diameter, self.quantity, self.area), np.asarray(viscous), self.loss_coefficient

    def friction_excess(self, flow: ArrayLike, fluid: Fluid) -> Floats:
        """Share of the pressure drop that turbulent duct friction would add to it.

        Parameters
        ----------
        flow : array_like
            Volume flow [ml/s].
        fluid : Fluid
            The oil.

        Returns
        -------
        ndarray
            Relative addition [-]; 0 below Re 2300, where the law is complete.

        Notes
        -----
        Blasius, f = 0.3164 Re^(−1/4), in place of 64/Re. Left out of the law itself,
        which keeps its limits pure; worth a remark where it exceeds the unknown of K.
        """
        reynolds = np.maximum(self.reynolds(flow, fluid), 1.0)
        laminar = self.friction_constant / reynolds
        excess = np.maximum(0.3164 * reynolds**-0.25 - laminar, 0.0) * self.length / self.diameter
        whole = (self._shape()[2] + self.loss_coefficient * reynolds) / reynolds
        return np.asarray(np.where(reynolds > TURBULENT_ONSET, excess / whole, 0.0))


@dataclass(frozen=True, slots=True)
class Orifice(Opening):
    """A sharp orifice: a hole in a thin wall.

    Parameters
    ----------
    diameter : float
        Diameter [mm], > 0; the hydraulic diameter 4 A/U if it is not round.
    quantity : float
        Number of equal orifices side by side [-], > 0.
    area : float, optional
        Area of one orifice [mm2], > 0; that of a round one if left out.
    discharge_coefficient : float
        Turbulent limit Cd of the discharge coefficient [-], 0.3 to 1.

    Raises
    ------
    InputError
        If a dimension is outside its range.

    Notes
    -----
    Law: creeping flow after Sampson 1891 plus the turbulent discharge term,

        Δp = 24 μ Q/d³ + ρ/2 (Q/(Cd A))²,  or  1/Cd(Re)² = 12π/Re + 1/Cd².

    Parameters: 12π = 37.7 (exact for an infinitely thin wall, Re → 0), Cd = 0.611.
    The first limit is exact; the sum between the limits is the simplest smooth
    interpolation. By hydraulic diameter a slit comes out 8 % too easy in its
    creeping limit (Hasimoto: 128/π = 40.7 in place of 37.7).

    What another published law gives (1.5 mm, 0.01 bar, 15 mm2/s, 850 kg/m3; this law
    1.54 ml/s, no viscosity at all 1.66 ml/s): `critical_reynolds_flow` 1.66, 1.00 and
    0.16 ml/s with the transition at Re 12, 150 and 1000. Merritt's creeping limit
    Cd = 0.2 √Re (from memory) is 25/Re in place of 37.7/Re.

    References
    ----------
    Sampson, Phil. Trans. R. Soc. A 182 (1891) 449.

    Examples
    --------
    >>> oil = Fluid(density=850.0, kinematic_viscosity=15.0)
    >>> round(float(Orifice(diameter=1.5).flow(0.01, oil)), 2)
    1.54
    """

    diameter: float
    quantity: float = 1.0
    area: float | None = None
    discharge_coefficient: float = DISCHARGE_SHARP

    def __post_init__(self) -> None:
        _check_throat(self.diameter, self.quantity, self.area)
        check_discharge(self.discharge_coefficient)

    def _shape(self) -> tuple[Floats, Floats, Floats, float]:
        throat = _throat(self.diameter, self.quantity, self.area)
        return *throat, np.asarray(END_ROUND), self.discharge_coefficient**-2


@dataclass(frozen=True, slots=True)
class AnnularGap(Opening):
    """The gap between a piston or rod and its bore.

    Parameters
    ----------
    diameter : float
        Mean diameter of the gap [mm], > 0.
    clearance : float
        Radial clearance when centred [mm], > 0, up to a tenth of the diameter.
    length : float
        Length along the axis [mm], > 0.
    eccentricity : float
        Offset over clearance [-], 0 centred to 1 touching.
    loss_coefficient : float
        Kinetic losses of entrance and exit, in velocity heads [-], > 0.

    Raises
    ------
    InputError
        If a dimension is outside its range.

    Notes
    -----
    Δp = 12 μ L Q / (π D c³ (1 + 1.5 e²)) + ρ/2 K (Q/(π D c))², thin gap. Touching on
    one side lets 2.5 times as much through as centred. Motion of the walls against
    each other is not in it. The viscous ends (0.85 c of length) are left out.

    References
    ----------
    Concentric: Rabie, Fluid Power Engineering, McGraw-Hill, p. 21, eq. 2.19.
    Eccentric: Tao & Donovan, Trans. ASME 77 (1955) 1291 (formula from memory; the
    tests integrate the local gap instead).

    Examples
    --------
    >>> gap = AnnularGap(diameter=20.0, clearance=0.05, length=8.0, eccentricity=1.0)
    >>> round(float(gap.flow(10.0, Fluid(850.0, 15.0))), 2)
    15.78
    """

    diameter: float
    clearance: float
    length: float
    eccentricity: float = 0.0
    loss_coefficient: float = LOSS_SHARP_HOLE

    def __post_init__(self) -> None:
        check_above("diameter", self.diameter, "mm")
        check_within("clearance", self.clearance, 0.0, 0.1 * self.diameter, " mm")
        check_above("clearance", self.clearance, "mm")
        check_above("length", self.length, "mm")
        check_within("eccentricity", self.eccentricity, 0.0, 1.0, "")
        check_above("loss_coefficient", self.loss_coefficient, "")

    def _shape(self) -> tuple[Floats, Floats, Floats, float]:
        width = 2.0 * self.clearance
        eased = FRICTION_SLIT / (1.0 + 1.5 * self.eccentricity**2)
        area = math.pi * self.diameter * self.clearance
        return (
            np.asarray(area),
            np.asarray(width),
            np.asarray(eased * self.length / width),
            self.loss_coefficient,
        )


def critical_reynolds_flow(
    orifice: Orifice, pressure: ArrayLike, fluid: Fluid, *, critical_reynolds: float
) -> Floats:
    """Flow of an orifice after the critical-Reynolds-number law, for comparison only.

    Parameters
    ----------
    orifice : Orifice
        The orifice.
    pressure : array_like
        Pressure difference [bar].
    fluid : Fluid
        The oil.
    critical_reynolds : float
        Reynolds number of the transition [-], > 0.

    Returns
    -------
    ndarray
        Volume flow [ml/s].

    Raises
    ------
    InputError
        If critical_reynolds is not above 0, or a pressure is not finite.

    Notes
    -----
    Q = Cd A √(2/ρ) Δp / (Δp² + p_cr²)^(1/4), p_cr = ρ/2 (Re_cr ν/(Cd d))²: the form that
    system simulation libraries document. Nothing in Dampcell computes with it; its
    creeping limit, 1/Cd(Re)² = Re_cr/(Cd² Re), is set by the chosen Re_cr alone.
    """
    check_above("critical_reynolds", critical_reynolds, "")
    area, diameter, _, _ = orifice._shape()
    drop = finite("pressure", pressure, "bar")
    cd = orifice.discharge_coefficient
    speed = 1e-3 * critical_reynolds * fluid.kinematic_viscosity / (cd * diameter)
    critical = 0.5e-5 * fluid.density * speed**2
    driven = math.sqrt(2e5 / fluid.density) * drop / (drop**2 + critical**2) ** 0.25
    return np.asarray(cd * area * driven)


def _throat(diameter: float, quantity: float, area: float | None) -> tuple[Floats, Floats]:
    one = 0.25 * math.pi * diameter**2 if area is None else area
    return np.asarray(quantity * one), np.asarray(diameter)


def _check_throat(diameter: float, quantity: float, area: float | None) -> None:
    check_above("diameter", diameter, "mm")
    check_above("quantity", quantity, "")
    if area is not None:
        check_above("area", area, "mm2")


def check_discharge(value: float) -> None:
    """Refuse a discharge coefficient that no opening has."""
    check_within("discharge_coefficient", value, 0.3, 1.0, "")


def check_above(parameter: str, value: float, unit: str, *, or_zero: bool = False) -> None:
    """Refuse a quantity that is not a finite number above 0 (or of 0 or more)."""
    if math.isfinite(value) and (value > 0.0 or (or_zero and value == 0.0)):
        return
    limit = "0 or more" if or_zero else "above 0"
    problem = "must be a number of 0 or more" if or_zero else "must be a number greater than 0"
    raise InputError(problem, parameter=parameter, found=value, allowed=f"{limit} {unit}".strip())


def check_within(parameter: str, value: float, low: float, high: float, unit: str) -> None:
    """Refuse a quantity outside its range, which includes both ends."""
    if not low <= value <= high:
        raise InputError(
            "is out of range", parameter=parameter, found=value, allowed=f"{low:g} to {high:g}{unit}"
        )


def finite(parameter: str, values: ArrayLike, unit: str) -> Floats:
    """Turn numbers into an array, or refuse them if one is not finite."""
    array = np.asarray(values, dtype=float)
    if not np.all(np.isfinite(array)):
        raise InputError("is not a finite number", parameter=parameter, allowed=f"a number in {unit}")
    return array
