"""Layers of a stack and the circles on which they may touch.

Pure geometry: which layers lie on each other at a radius, and how far apart
they are before anything bends.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dampcell.functions.plates import Floats

__all__ = ["Flags", "Layer", "Meetings", "Source", "contact_circles", "find_meetings", "present"]

Flags = NDArray[np.bool_]

# Chosen so that stacks of up to 12 shims with and without gaps come within about 0.1 % of the
# lift on a grid of circles that is three times as dense (tests/test_stacks.py).
_SPREAD_CIRCLES = 30
_GRADING = 1.5
_CLEARANCE = 0.02  # of the distance from the clamp
_FRACTIONS = np.array([0.05, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95])
_SAME = 1e-9
_WINDOW_GAUSS = np.polynomial.legendre.leggauss(16)


@dataclass(frozen=True, slots=True)
class Layer:
    """Equal plates that move as one: same edges, no gap between them.

    Notes
    -----
    Plates of the same diameter that lie on each other share the load in the
    proportion of their rigidities; the pressure between them is nowhere
    negative, so by the uniqueness of the lifts the merged plate is exact.

    Parameters
    ----------
    inner, outer : float
        Radii [mm]; the inner one is the clamp, or the bore of a loose ring.
    bottom : float
        Height of the underside over the underside of the face shim [mm].
    thicknesses : tuple of float
        One per plate [mm].
    rigidities : tuple of float
        One per plate [N.mm].
    loose : bool
        True for a ring, which is not clamped.
    """

    inner: float
    outer: float
    bottom: float
    thicknesses: tuple[float, ...]
    rigidities: tuple[float, ...]
    loose: bool = False

    @property
    def rigidity(self) -> float:
        """Rigidity of all plates together [N.mm]."""
        return sum(self.rigidities)

    @property
    def top(self) -> float:
        """Height of the upper side [mm]."""
        return self.bottom + sum(self.thicknesses)

    @property
    def edges(self) -> tuple[float, ...]:
        """Radii at which the layer ends [mm]; the clamp is none."""
        return (self.inner, self.outer) if self.loose else (self.outer,)


@dataclass(frozen=True, slots=True)
class Source:
    """A load on the face layer: ring loads with weights that sum to 1."""

    radii: Floats
    weights: Floats

    @classmethod
    def ring(cls, radius: float) -> Source:
        """All of the load on one circle [mm]."""
        return cls(np.array([radius]), np.array([1.0]))

    @classmethod
    def window(cls, inner: float, outer: float) -> Source:
        """Uniform pressure between two radii [mm], by Gauss-Legendre quadrature."""
        nodes, weights = _WINDOW_GAUSS
        radii = 0.5 * (outer - inner) * nodes + 0.5 * (outer + inner)
        share = weights * radii
        return cls(radii, share / share.sum())


@dataclass(frozen=True, slots=True)
class Meetings:
    """Places where two neighbours may touch, one array element each; the last is the seat.

    Parameters
    ----------
    lower, upper : ndarray of int
        Indices of the layers; the seat counts as one past the last layer.
    circle : ndarray of int
        Index of the circle.
    gap : ndarray
        Distance before anything bends [mm], negative where parts overlap and press.
    """

    lower: NDArray[np.intp]
    upper: NDArray[np.intp]
    circle: NDArray[np.intp]
    gap: Floats


def present(layers: Sequence[Layer], radii: Floats) -> Flags:
    """Tell which layers are there on which circle.

    Parameters
    ----------
    layers : sequence of Layer
        Layers of a stack.
    radii : ndarray, shape (circles,)
        Radii [mm].

    Returns
    -------
    ndarray of bool, shape (circles, layers)
    """
    inner = np.array([layer.inner for layer in layers])
    outer = np.array([layer.outer for layer in layers])
    slack = _SAME * outer
    result: Flags = (radii[:, None] >= inner - slack) & (radii[:, None] <= outer + slack)
    return result


def find_meetings(
    layers: Sequence[Layer], circles: Floats, seat_radius: float, seat_height: float
) -> Meetings:
    """Find where neighbours may touch; the gap is what lies between them.

    Parameters
    ----------
    layers : sequence of Layer
        From the face to the clamp.
    circles : ndarray, shape (circles,)
        From `contact_circles` [mm].
    seat_radius, seat_height : float
        The seat under the face layer [mm].

    Returns
    -------
    Meetings
    """
    meeting: dict[tuple[int, int], list[int]] = {}
    for index, here in enumerate(present(layers, circles)):
        for pair in _neighbours(layers, np.flatnonzero(here).tolist()):
            meeting.setdefault(pair, []).append(index)
    focal = np.array([seat_radius, *_narrow_rims(layers)])
    rows: list[tuple[int, int, int, float]] = []
    for (lower, upper), where in meeting.items():
        gap = layers[upper].bottom - layers[lower].top
        if gap <= 0.0:
            # Layers that lie on each other press near their edges, where the load is handed on in one
            # circle, and smoothly between: few circles do. A gap may close anywhere, so all are kept.
            at = circles[where]
            wanted = at[0] + (at[-1] - at[0]) * _FRACTIONS
            wanted = np.concatenate([wanted, layers[lower].edges, layers[upper].edges, focal])
            wanted = wanted[(wanted >= at[0]) & (wanted <= at[-1])]
            nearest = np.abs(at - wanted[:, None]).argmin(axis=1)
            where = [where[k] for k in sorted(set(nearest.tolist()))]
        rows.extend((lower, upper, index, gap) for index in where)
    seat = int(np.argmin(np.abs(circles - seat_radius)))
    rows.append((len(layers), 0, seat, -seat_height))
    lowers, uppers, where_, gaps = zip(*rows, strict=True)
    return Meetings(
        np.array(lowers, dtype=np.intp),
        np.array(uppers, dtype=np.intp),
        np.array(where_, dtype=np.intp),
        np.array(gaps),
    )


def contact_circles(layers: Sequence[Layer], seat_radius: float) -> Floats:
    """Circles on which contact is looked for: edges, seat, and more between, closer near the clamp.

    Parameters
    ----------
    layers : sequence of Layer
        From the face to the clamp.
    seat_radius : float
        Radius of the seat circle [mm].

    Returns
    -------
    ndarray, shape (circles,)
        Radii, rising [mm].
    """
    clamp = layers[0].inner
    span = max(layer.outer for layer in layers) - clamp
    fixed = np.array(
        sorted([seat_radius, *(edge for layer in layers for edge in layer.edges if edge > clamp)])
    )
    fixed = fixed[np.concatenate([[True], np.diff(fixed) > _SAME * span])]
    share = (np.arange(_SPREAD_CIRCLES) + 0.5) / _SPREAD_CIRCLES
    spread = clamp + span * share**_GRADING
    clear = np.abs(spread[:, None] - fixed).min(axis=1) > _CLEARANCE * (spread - clamp)
    return np.sort(np.concatenate([fixed, spread[clear]]))


def _narrow_rims(layers: Sequence[Layer]) -> list[float]:
    """Edges of layers narrower than both neighbours, and of rings: there the load crosses in one circle."""
    rims: list[float] = []
    for below, layer, above in zip(layers, layers[1:], layers[2:], strict=False):
        if layer.loose or layer.outer < min(below.outer, above.outer):
            rims.extend(layer.edges)
    return rims


def _neighbours(layers: Sequence[Layer], here: list[int]) -> list[tuple[int, int]]:
    """Pairs that lie on each other where these layers are.

    On the circle where a ring fits its centering shim without play, both are there, side by side: each
    of the two lies between the layer before and the layer after them, and neither lies on the other.
    """
    beside = [
        (held, ring)
        for held, ring in itertools.pairwise(here)
        if layers[ring].loose and layers[ring].bottom == layers[held].bottom
    ]
    if not beside:
        return list(itertools.pairwise(here))
    helds, rings = (set(side) for side in zip(*beside, strict=True))
    without = ([i for i in here if i not in out] for out in (helds, rings))
    return sorted({pair for some in without for pair in itertools.pairwise(some)})
