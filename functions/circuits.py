"""Flow paths combined: check valve, side by side, one after the other.

Whatever is combined stays a path: zero at zero, continuous, strictly increasing.
Where no closed form exists, the unknown is bracketed from the parts themselves and
found by a method that cannot leave the bracket, to `roots.TOLERANCE`, for whole arrays at once.

Side by side with quadratic paths, check valves and closed-form series this takes about ten
steps. A check valve in series with something nests one search in another and is thirty
times slower: put what stands before it into its ``opened`` path instead.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from dampcell.functions.errors import InputError
from dampcell.functions.flow import Floats, Fluid, Path, QuadraticPath
from dampcell.functions.roots import increasing_root

__all__ = ["CheckValve", "Parallel", "Series", "parallel", "series"]


@dataclass(frozen=True, slots=True)
class CheckValve(Path):
    """A valve that opens one way at a preload pressure and only leaks the other way.

    Parameters
    ----------
    opened : Path
        The path of the open valve.
    preload : float
        Pressure difference at which it opens [bar], ≥ 0.
    leak : Path
        What passes beside it always, in both directions; it must not be closed.

    Raises
    ------
    InputError
        If the preload is negative or not finite.

    Notes
    -----
    Q = Q_leak(Δp) + Q_opened(max(Δp − preload, 0)): continuous, strictly increasing,
    with a kink at the preload. The opened valve keeps its preload (a soft spring).

    Examples
    --------
    >>> from dampcell.functions.flow import Fluid, Hole, Orifice
    >>> valve = CheckValve(Hole(4.0, 2.0), preload=0.3, leak=Orifice(0.2))
    >>> oil = Fluid(850.0, 15.0)
    >>> [round(float(valve.flow(p, oil)), 2) for p in (-1.0, 0.2, 1.0)]
    [-0.28, 0.12, 130.87]
    """

    opened: Path
    preload: float
    leak: Path

    def __post_init__(self) -> None:
        if not 0.0 <= self.preload < np.inf:
            raise InputError(
                "must be 0 or more", parameter="preload", found=self.preload, allowed="0 bar or more"
            )

    def _flow(self, pressure: Floats, fluid: Fluid) -> Floats:
        beyond = np.maximum(pressure - self.preload, 0.0)
        return np.asarray(self.leak._flow(pressure, fluid) + self.opened._flow(beyond, fluid))

    def _pressure(self, flow: Floats, fluid: Fluid) -> Floats:
        leaking = self.leak._pressure(flow, fluid)
        opens = leaking > self.preload
        low = np.where(opens, self.preload, leaking)
        through = self.preload + self.opened._pressure(np.maximum(flow, 0.0), fluid)
        high = np.where(opens, np.minimum(leaking, through), leaking)
        return increasing_root(lambda p: self._flow(p, fluid) - flow, low, high)


@dataclass(frozen=True, slots=True)
class Parallel(Path):
    """Paths side by side: one pressure difference, flows that add up; see `parallel`."""

    paths: tuple[Path, ...]

    def flows(self, pressure: ArrayLike, fluid: Fluid) -> tuple[Floats, ...]:
        """Return the flow of each path [ml/s] at a pressure difference [bar]."""
        return tuple(path.flow(pressure, fluid) for path in self.paths)

    def _flow(self, pressure: Floats, fluid: Fluid) -> Floats:
        return np.asarray(sum(path._flow(pressure, fluid) for path in self.paths))

    def _pressure(self, flow: Floats, fluid: Fluid) -> Floats:
        return _split(self._flow, [path._pressure for path in self.paths], flow, fluid)


@dataclass(frozen=True, slots=True)
class Series(Path):
    """Paths one after the other: one flow, pressure differences that add up; see `series`."""

    paths: tuple[Path, ...]

    def pressures(self, flow: ArrayLike, fluid: Fluid) -> tuple[Floats, ...]:
        """Return the pressure difference over each path [bar] at a flow [ml/s]."""
        return tuple(path.pressure(flow, fluid) for path in self.paths)

    def _pressure(self, flow: Floats, fluid: Fluid) -> Floats:
        return np.asarray(sum(path._pressure(flow, fluid) for path in self.paths))

    def _flow(self, pressure: Floats, fluid: Fluid) -> Floats:
        return _split(self._pressure, [path._flow for path in self.paths], pressure, fluid)


@dataclass(frozen=True, slots=True)
class _QuadraticSeries(Series, QuadraticPath):
    """A series of quadratic paths is one quadratic path: no iteration."""

    def coefficients(self, fluid: Fluid) -> tuple[Floats, Floats]:
        pairs = [path.coefficients(fluid) for path in self.paths if isinstance(path, QuadraticPath)]
        return np.asarray(sum(a for a, _ in pairs)), np.asarray(sum(b for _, b in pairs))

    _flow = QuadraticPath._flow
    _pressure = QuadraticPath._pressure


def parallel(*paths: Path) -> Path:
    """Paths side by side, such as bleed, needle and shim gap.

    Parameters
    ----------
    *paths : Path
        One or more paths; closed ones take no flow.

    Returns
    -------
    Path
        Their combination; a `Parallel` tells the share of each by `flows`.

    Raises
    ------
    InputError
        If there is no path.

    Notes
    -----
    For a flow Q through n paths the pressure lies between the least of the
    paths' own pressures at Q/n and the least at Q.

    Examples
    --------
    >>> from dampcell.functions.flow import Fluid, Hole
    >>> one, oil = Hole(1.5, 5.0), Fluid(850.0, 15.0)
    >>> round(float(parallel(one, one).pressure(8.0, oil) / one.pressure(4.0, oil)), 9)
    1.0
    """
    return Parallel(_some(paths)) if len(paths) != 1 else paths[0]


def series(*paths: Path) -> Path:
    """Paths one after the other, such as a port throat and the shim gap behind it.

    Parameters
    ----------
    *paths : Path
        One or more paths; a closed one closes the whole.

    Returns
    -------
    Path
        Their combination; a `Series` tells the part of each by `pressures`.

    Raises
    ------
    InputError
        If there is no path.

    Notes
    -----
    Quadratic paths add up to a quadratic path, in closed form. Otherwise the flow at a
    pressure p lies between the least of the n paths' own flows at p/n and the least at p.

    Examples
    --------
    >>> from dampcell.functions.flow import Fluid, Hole
    >>> one, oil = Hole(1.5, 5.0), Fluid(850.0, 15.0)
    >>> round(float(series(one, one).pressure(4.0, oil) / one.pressure(4.0, oil)), 9)
    2.0
    """
    if len(paths) == 1:
        return paths[0]
    if all(isinstance(path, QuadraticPath) for path in paths):
        return _QuadraticSeries(_some(paths))
    return Series(paths)


def _some(paths: tuple[Path, ...]) -> tuple[Path, ...]:
    if not paths:
        raise InputError("there is no path to combine", parameter="paths", allowed="one path or more")
    return paths


def _split(
    forward: Callable[[Floats, Fluid], Floats],
    inverses: Sequence[Callable[[Floats, Fluid], Floats]],
    target: Floats,
    fluid: Fluid,
) -> Floats:
    """Find the common unknown of n parts whose other quantity adds up to the target."""
    low = np.min([np.abs(inverse(target / len(inverses), fluid)) for inverse in inverses], axis=0)
    high = np.min([np.abs(inverse(target, fluid)) for inverse in inverses], axis=0)
    sign = np.where(target < 0.0, -1.0, 1.0)
    found = increasing_root(lambda x: sign * (forward(sign * x, fluid) - target), low, high)
    return np.asarray(sign * found)
