"""Layers of a stack in one-sided contact: the equilibrium of the whole.

Every layer is a thin plate with closed-form influence functions (`plates`).
Layers press on each other, frictionless, on candidate circles: all edges, the
seat, and a few more between them. At each candidate either the gap is open and
the force zero, or the gap is closed and the force not negative: a linear
complementarity problem, solved by pivoting on the set of closed contacts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dampcell.functions.errors import NoSolutionError
from dampcell.functions.plates import Floats, Plate

__all__ = ["AXISYMMETRIC_LIMIT", "Contacts", "Layer", "Source", "States"]

AXISYMMETRIC_LIMIT = 2.0
"""Edge lift over thickness [-] beyond which a plate goes wavy and stiffens no further.

Own finite-shell study behind the design: the axisymmetric shape is unstable above
about 2.0 to 2.6, and the true secant stiffness stays at 1.6 to 2.2 times the linear one.
"""

_GROUND = 1e-7
"""Spring that holds a loose ring in place until something touches it [N/mm]."""

_SPREAD_CIRCLES = 8
_CLEARANCE = 0.4  # of the distance between spread circles
_SAME = 1e-9
_QUADRATURE = 24
_TOLERANCE = 1e-7
_SLACK = 1e-9
_PATIENCE = 12
_SWEEPS = 200

Flags = NDArray[np.bool_]


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

    def spans(self, radius: float) -> bool:
        """Whether the layer is there at this radius [mm]."""
        slack = _SAME * self.outer
        return self.inner - slack <= radius <= self.outer + slack


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
        nodes, weights = np.polynomial.legendre.leggauss(16)
        radii = 0.5 * (outer - inner) * nodes + 0.5 * (outer + inner)
        share = weights * radii
        return cls(radii, share / share.sum())


@dataclass(frozen=True, slots=True)
class States:
    """Equilibrium states of one stack at n loads.

    Parameters
    ----------
    loads : ndarray, shape (n,)
        Total loads on the face layer [N].
    shapes : ndarray, shape (n, layers, circles)
        Net upward force on every layer and circle over the layer's stiffening [N].
    shifts : ndarray, shape (n, loose rings)
        Rigid lifts of the loose rings [mm].
    stiffening : ndarray, shape (n, layers)
        Factor on each layer's rigidity for its lift [-], 1 for small lift.
    closed : ndarray of bool, shape (n, contacts)
        Which contacts are closed; the last one is the seat.
    """

    loads: Floats
    shapes: Floats
    shifts: Floats
    stiffening: Floats
    closed: Flags

    @property
    def seated(self) -> Flags:
        """Whether the face shim touches its seat, shape (n,)."""
        result: Flags = self.closed[:, -1]
        return result


class _Pace:
    """Speeds up a fixed-point iteration, each number by itself, from its last two steps (Aitken)."""

    def __init__(self, start: Floats) -> None:
        self._at = start.copy()
        self._before = start.copy()
        self._move = np.zeros_like(start)

    def step(self, rows: NDArray[np.intp], proposed: Floats) -> Floats:
        """Return where to go next, given what the iteration proposes for these rows."""
        at, before = self._at[rows], self._move[rows]
        move = proposed - at
        went = at - self._before[rows]
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = np.where(went != 0.0, (move - before) / went, 0.0)
        gain = 1.0 / np.clip(-slope, 0.6, 2.0)
        following = np.where(before != 0.0, at + gain * move, proposed)
        self._before[rows], self._move[rows], self._at[rows] = at, move, np.maximum(1.0, following)
        return self._at[rows]


class Contacts:
    """The contact model of a stack for one kind of load.

    Parameters
    ----------
    layers : sequence of Layer
        From the face to the clamp; the first is clamped.
    source : Source
        Load on the face layer.
    seat_radius : float
        Radius of the seat circle [mm].
    seat_height : float
        Height of the seat over the flat face shim [mm].
    poisson : float
        Poisson's ratio [-].

    Notes
    -----
    All loads of a call are solved side by side in arrays with a leading axis n;
    a load's result does not depend on which others are asked for with it.
    """

    def __init__(
        self,
        layers: Sequence[Layer],
        source: Source,
        *,
        seat_radius: float,
        seat_height: float,
        poisson: float,
    ) -> None:
        self.layers = tuple(layers)
        self.source = source
        self.poisson = poisson
        circles, spread_out = _circles(self.layers, seat_radius)
        self._count_circles = len(circles)
        self._radii = np.concatenate([circles, source.radii])
        self._rigidity = np.array([layer.rigidity for layer in self.layers])
        self._loose = np.flatnonzero([layer.loose for layer in self.layers])
        self._place_contacts(circles, spread_out, seat_radius, seat_height)
        self._influence = self._deflections()
        at = np.ix_(np.arange(len(self.layers)), self._circle, self._circle)
        parts = self._influence[at] * self._signs[:, :, None] * self._signs[:, None, :]
        self._pressed = parts.reshape(len(self.layers), -1)
        self._face = self._influence[0][:, self._count_circles :] @ source.weights
        self._edge = np.array([np.argmin(np.abs(circles - layer.outer)) for layer in self.layers])
        self._membrane()

    def _place_contacts(
        self, circles: Floats, spread_out: Flags, seat_radius: float, seat_height: float
    ) -> None:
        """Neighbours that are present on a circle may touch there; the gap is what lies between them."""
        rows: list[tuple[int, int, int, float]] = []
        near = _CLEARANCE * (circles[-1] - self.layers[0].inner) / _SPREAD_CIRCLES
        for index, radius in enumerate(circles.tolist()):
            present = [i for i, layer in enumerate(self.layers) if layer.spans(radius)]
            for lower, upper in zip(present, present[1:], strict=False):
                edges = self.layers[lower].edges + self.layers[upper].edges
                distance = min(abs(edge - radius) for edge in edges)
                # An edge concerns the two layers that meet there; elsewhere the spread circles do.
                if distance <= _SAME * radius or (spread_out[index] and distance > near):
                    gap = self.layers[upper].bottom - self.layers[lower].top
                    rows.append((lower, upper, index, gap))
        # The seat stands below all layers: an index past the last one, where nothing gives way.
        seat = int(np.argmin(np.abs(circles - seat_radius)))
        rows.append((len(self.layers), 0, seat, -seat_height))
        columns = list(zip(*rows, strict=True))
        self._lower, self._upper, self._circle = (np.array(column, dtype=np.intp) for column in columns[:3])
        self._gap = np.array(columns[3], dtype=float)
        count, layers = len(rows), len(self.layers)
        self._signs = np.zeros((layers + 1, count))
        self._signs[self._upper, np.arange(count)] = 1.0
        self._signs[self._lower, np.arange(count)] = -1.0
        self._signs = self._signs[:-1]
        spread = np.zeros((count, layers, len(self._radii)))
        spread[np.arange(count), :, self._circle] = self._signs.T
        self._spread = spread.reshape(count, -1)
        self._guess = self._gap <= 0.0
        self._guess[-1] = False

    def _deflections(self) -> Floats:
        """Influence of a force on any circle on the lift on any other, (layers + seat, circles, circles)."""
        radii, layers = self._radii, self.layers
        reach = np.array([[layer.spans(r) for r in radii.tolist()] for layer in layers])
        reach[1:, self._count_circles :] = False
        self._reach = reach
        influence = np.zeros((len(layers) + 1, len(radii), len(radii)))
        held = [i for i, layer in enumerate(layers) if not layer.loose]
        outer = np.array([layers[i].outer for i in held])[:, None, None]
        influence[held] = Plate(layers[0].inner, outer, self.poisson).deflection(radii, radii)
        for i in self._loose:
            ring = np.flatnonzero(reach[i])
            plate = Plate(layers[i].inner, layers[i].outer, self.poisson, "hinged")
            inside = np.clip(radii[ring], layers[i].inner, layers[i].outer)
            influence[np.ix_([i], ring, ring)] = plate.deflection(inside, inside)
        influence[:-1] *= reach[:, :, None] * reach[:, None, :] / self._rigidity[:, None, None]
        return influence

    # -- equilibrium ----------------------------------------------------------------------------------

    def solve(self, loads: Floats, *, large: bool, start: States | None = None) -> States:
        """Equilibrium at each load.

        Parameters
        ----------
        loads : ndarray, shape (n,)
            Total loads on the face layer [N], 0 or more.
        large : bool
            Whether plates stiffen with their lift.
        start : States, optional
            States at n neighbouring loads, to start from.

        Returns
        -------
        States

        Raises
        ------
        NoSolutionError
            If the contacts or the stiffening do not settle.
        """
        return self._settle(loads, large=large, opening=False, start=start)

    def opening(self, *, large: bool) -> float:
        """Load at which the face shim leaves its seat.

        Parameters
        ----------
        large : bool
            Whether plates stiffen with their lift.

        Returns
        -------
        float
            Load [N]; 0 if nothing presses the face shim on its seat.

        Raises
        ------
        NoSolutionError
            As for `solve`.
        """
        return float(self._settle(np.zeros(1), large=large, opening=True).loads[0])

    def _settle(self, loads: Floats, *, large: bool, opening: bool, start: States | None = None) -> States:
        """Correct contacts and stiffening, over and over, for all loads that have not settled.

        Contacts are exchanged in blocks, and one at a time (the last) where that
        does not help, which ends after finitely many steps for the positive
        definite matrix of this problem: Murty, Note on a Bard-type scheme for
        solving the complementarity problem, Opsearch 11 (1974) 123-130; blocks:
        Kostreva, Block pivot methods for solving the complementarity problem,
        Linear Algebra Appl. 21 (1978) 207-215 (both from memory).
        """
        n, count = len(loads), len(self._gap)
        closed = np.tile(self._guess, (n, 1)) if start is None else start.closed.copy()
        stiffening = np.ones((n, len(self.layers))) if start is None else start.stiffening.copy()
        least, patience = np.full(n, count + 1), np.full(n, _PATIENCE)
        done = States(
            loads.copy(),
            np.zeros((n, len(self.layers), len(self._radii))),
            np.zeros((n, len(self._loose))),
            stiffening,
            closed,
        )
        todo = np.arange(n)
        pace = _Pace(stiffening)
        for _ in range(_SWEEPS + 4 * count):
            trial, wrong = self._trial(loads[todo], stiffening[todo], closed[todo], opening=opening)
            amount = np.count_nonzero(wrong, axis=1)
            better = amount < least[todo]
            least[todo] = np.where(better, amount, least[todo])
            patience[todo] = np.where(better, _PATIENCE, patience[todo] - 1)
            stuck = patience[todo] < 0
            last_only = np.cumsum(wrong[:, ::-1], axis=1)[:, ::-1] == 1
            closed[todo] ^= wrong & (last_only | ~stuck[:, None])
            settled = amount == 0
            if large:
                target, following = self._stiffen(trial)
                error = np.max(np.abs(target - trial.stiffening) / trial.stiffening, axis=1)
                fresh = settled & (error >= _TOLERANCE)
                # Contacts that do not settle are sorted out with the stiffening held.
                move = fresh | (~settled & ~stuck)
                stiffening[todo[move]] = pace.step(todo[move], following[move])
                least[todo[fresh]], patience[todo[fresh]] = count + 1, _PATIENCE
                settled &= ~fresh
            finished = todo[settled]
            done.loads[finished] = trial.loads[settled]
            done.shapes[finished] = trial.shapes[settled]
            done.shifts[finished] = trial.shifts[settled]
            todo = todo[~settled]
            if not len(todo):
                return done
        raise NoSolutionError(
            "the contacts of this stack did not settle", parameter="load", found=float(loads[todo[0]])
        )

    def _trial(
        self, loads: Floats, stiffening: Floats, closed: Flags, *, opening: bool
    ) -> tuple[States, Flags]:
        """Forces and lifts for given closed contacts, and which contacts that contradicts."""
        n, loose = len(loads), len(self._loose)
        if opening:
            # The load takes the place of the seat's force, and its size is the unknown.
            closed = closed.copy()
            closed[:, -1] = False
        most = int(closed.sum(axis=1).max())
        picked = np.argsort(~closed, axis=1, kind="stable")[:, :most]
        used = np.take_along_axis(closed, picked, axis=1)
        size = most + loose + int(opening)
        matrix = np.zeros((n, size, size))
        right = np.zeros((n, size))
        rows = np.arange(n)[:, None]
        pressed = (1.0 / stiffening) @ self._pressed
        cells = picked[:, :, None] * len(self._gap) + picked[:, None, :]
        matrix[:, :most, :most] = np.take_along_axis(pressed, cells.reshape(n, -1), axis=1).reshape(n, most, most)
        matrix[:, :most, :most] *= used[:, :, None] & used[:, None, :]
        matrix[:, np.arange(most), np.arange(most)] += ~used
        for column, ring in enumerate(self._loose, start=most):
            sign = self._signs[ring][picked] * used
            matrix[:, :most, column] = matrix[:, column, :most] = sign
            matrix[:, column, column] = -_GROUND
        push = self._signs[0] * self._face[self._circle] / stiffening[:, :1]
        right[:, :most] = (self._gap + loads[:, None] * push)[rows, picked] * used
        if opening:
            seat = pressed[:, -len(self._gap) :]
            matrix[:, -1, :most] = np.take_along_axis(seat, picked, axis=1) * used
            matrix[:, :most, -1] = push[rows, picked] * used
            matrix[:, -1, -1] = push[:, -1]
            right[:, -1] = self._gap[-1]
        try:
            answer = np.linalg.solve(matrix, -right[:, :, None])[:, :, 0]
        except np.linalg.LinAlgError as error:
            raise NoSolutionError("the contacts of this stack are not solvable", parameter="stack") from error
        if opening:
            loads = answer[:, -1]
        forces = np.zeros(closed.shape)
        forces[rows, picked] = answer[:, :most] * used
        shapes = (forces @ self._spread).reshape(n, len(self.layers), -1)
        shapes[:, 0, self._count_circles :] += loads[:, None] * self.source.weights
        shapes /= stiffening[:, :, None]
        shifts = answer[:, most : most + loose]
        state = States(loads, shapes, shifts, stiffening, closed)
        lifts = np.zeros((n, len(self.layers) + 1, len(self._radii)))
        lifts[:, :-1] = self._lifts(state)
        lifts[:, self._loose] += shifts[:, :, None]
        gaps = self._gap + lifts[:, self._upper, self._circle] - lifts[:, self._lower, self._circle]
        slack = _SLACK * (np.abs(gaps).max(axis=1, keepdims=True) + 1e-6)
        strain = _SLACK * (np.abs(forces).max(axis=1, keepdims=True) + 1e-3)
        wrong = np.where(closed, forces < -strain, gaps < -slack)
        if opening:
            wrong[:, -1] = False
        return state, wrong

    def _lifts(self, states: States) -> Floats:
        """Elastic lift of every layer on every circle, shape (n, layers, circles) [mm]."""
        lifts = np.matmul(states.shapes.transpose(1, 0, 2), self._influence[:-1])
        return lifts.transpose(1, 0, 2)

    # -- large lift -----------------------------------------------------------------------------------

    def _membrane(self) -> None:
        """Slopes at quadrature points and the in-plane energy kernel of every layer."""
        nodes, weights = np.polynomial.legendre.leggauss(_QUADRATURE)
        inner = np.array([layer.inner for layer in self.layers])[:, None]
        outer = np.array([layer.outer for layer in self.layers])[:, None]
        at, step = 0.5 * (outer - inner) * nodes + 0.5 * (outer + inner), 0.5 * (outer - inner) * weights
        held = np.array([not layer.loose for layer in self.layers])
        plate = Plate(self.layers[0].inner, outer[:, :, None], self.poisson)
        self._slopes = plate.slope(at, self._radii) * self._reach[:, None, :]
        self._slopes *= (held / self._rigidity)[:, None, None]
        kernel, pull = membrane_kernel(at, inner[:, :, None], outer[:, :, None], self.poisson)
        self._kernels = kernel * step[:, :, None] * step[:, None, :]
        self._pull = pull * step * held[:, None]
        plates = max(len(layer.thicknesses) for layer in self.layers)
        self._shares = np.zeros((len(self.layers), plates))
        self._thickness = np.ones((len(self.layers), plates))
        for i, layer in enumerate(self.layers):
            self._shares[i, : len(layer.rigidities)] = np.array(layer.rigidities) / layer.rigidity
            self._thickness[i, : len(layer.thicknesses)] = layer.thicknesses

    def _strains(self, states: States) -> Floats:
        """Radial strain (dw/dr)²/2 at the quadrature points, shape (layers, n, points) [-]."""
        slopes = np.matmul(states.shapes.transpose(1, 0, 2), self._slopes.transpose(0, 2, 1))
        result: Floats = 0.5 * slopes**2
        return result

    def _stiffen(self, states: States) -> tuple[Floats, Floats]:
        """Stiffening that belongs to the shapes of a state, and a better guess for the next one.

        For a plate that keeps its shape the bending energy U_b goes with w² and the
        membrane energy U_m with w⁴, so its secant stiffness grows by 1 + 2 U_m/U_b.
        The guess solves that for each layer as if its load stayed the same.
        """
        lifts, strains = self._lifts(states), self._strains(states)
        work = (states.shapes * lifts).sum(axis=2)
        stretch = (np.matmul(strains, self._kernels) * strains).sum(axis=2).T
        factor = 48.0 * np.pi * (1.0 - self.poisson**2) * self._rigidity
        whole = np.where(work > 0.0, factor * stretch / np.where(work > 0.0, work, 1.0), 0.0)
        raw = whole[:, :, None] / self._thickness**2
        edge = np.abs(np.take_along_axis(lifts, self._edge[None, :, None], axis=2))
        cap = raw * (AXISYMMETRIC_LIMIT * self._thickness / np.where(edge > 0.0, edge, 1.0)) ** 2
        target = 1.0 + (self._shares * np.minimum(raw, cap)).sum(axis=2)
        guess = states.stiffening
        for _ in range(3):
            grown = raw * ((states.stiffening / guess) ** 2)[:, :, None]
            free = grown < cap
            value = guess - 1.0 - (self._shares * np.where(free, grown, cap)).sum(axis=2)
            rate = 1.0 + 2.0 * (self._shares * np.where(free, grown, 0.0)).sum(axis=2) / guess
            guess = np.maximum(1.0, guess - value / rate)
        return target, guess

    # -- what a state means ---------------------------------------------------------------------------

    def lift(self, states: States, radius: float) -> Floats:
        """Lift of the face shim over its flat position at a radius [mm], shape (n,)."""
        face = self.layers[0]
        plate = Plate(face.inner, face.outer, self.poisson)
        at = plate.deflection(radius, np.minimum(self._radii, face.outer))[0] / face.rigidity
        result: Floats = states.shapes[:, 0] @ at
        return result

    def edge_ratio(self, states: States) -> Floats:
        """Largest edge lift over thickness of any clamped shim [-], shape (n,)."""
        edge = np.abs(np.take_along_axis(self._lifts(states), self._edge[None, :, None], axis=2)[:, :, 0])
        edge[:, self._loose] = 0.0
        result: Floats = (edge / self._thickness.min(axis=1)).max(axis=1)
        return result

    def stresses(self, states: States, modulus: float, *, large: bool) -> list[list[Floats]]:
        """Largest surface stress of every plate.

        Parameters
        ----------
        states : States
            States of this model.
        modulus : float
            Modulus of elasticity [GPa].
        large : bool
            Whether to add the membrane stress at the clamp.

        Returns
        -------
        list of list of ndarray
            By layer and plate, shape (n,) [MPa]: the larger of radial and tangential
            stress, bending on every circle, plus membrane at the clamp.
        """
        pull = modulus * 1e3 * (self._strains(states) * self._pull[:, None, :]).sum(axis=2)
        found = []
        for i, layer in enumerate(self.layers):
            reach = np.flatnonzero(self._reach[i])
            circles = np.clip(self._radii[reach], layer.inner, layer.outer)
            plate = Plate(layer.inner, layer.outer, self.poisson, "hinged" if layer.loose else "clamped")
            radial, hoop = plate.moments(np.concatenate([[layer.inner], circles]), circles)
            forces = states.shapes[:, i, reach]
            # The curvature is common to the plates of a layer: each bears moment by its own rigidity.
            moment = np.maximum(np.abs(forces @ radial.T), np.abs(forces @ hoop.T)) / layer.rigidity
            tension = pull[i] if large else 0.0
            found.append(
                [
                    np.maximum(
                        6.0 * rigidity / t**2 * moment[:, 0] + tension,
                        6.0 * rigidity / t**2 * moment[:, 1:].max(axis=1),
                    )
                    for t, rigidity in zip(layer.thicknesses, layer.rigidities, strict=True)
                ]
            )
        return found


def membrane_kernel(
    at: Floats, inner: float | Floats, outer: float | Floats, poisson: float
) -> tuple[Floats, Floats]:
    """In-plane response of an annulus to the radial strain that its slopes cause.

    Parameters
    ----------
    at : ndarray, shape (…, n)
        Radii [mm].
    inner, outer : float, or ndarray of shape (…, 1, 1)
        Radii of the held inner and free outer edge [mm].
    poisson : float
        Poisson's ratio [-].

    Returns
    -------
    kernel : ndarray, shape (…, n, n)
        K with r N_r(r) = E t ∫ K(r, s) q(s) ds, where q = (dw/dr)²/2 [-].
    pull : ndarray, shape (…, n)
        k with N_r(inner) = E t ∫ k(s) q(s) ds [1/mm].

    Notes
    -----
    From r S'' + S' − S/r = −E t q for S = r N_r, with S(outer) = 0 and no radial
    displacement at the inner edge, S' = ν S/r there. The membrane energy is
    π ∫∫ E t q K q dr ds.

    References
    ----------
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959,
    chapter 13, large deflections (equations from memory, solved here).
    """
    r, s = at[..., :, None], at[..., None, :]
    held = inner**2 * (1.0 - poisson) / (1.0 + poisson)
    rim = outer + held / outer
    reach = outer / s - s / outer
    kernel = 0.5 * ((r + held / r) / rim * reach - np.where(s < r, r / s - s / r, 0.0))
    pull = (0.5 * (1.0 + held / inner**2) / rim * reach)[..., 0, :]
    return kernel, np.broadcast_to(pull, at.shape)


def _circles(layers: Sequence[Layer], seat_radius: float) -> tuple[Floats, Flags]:
    """Circles on which contact is looked for, and which of them are for all layers."""
    clamp = layers[0].inner
    span = max(layer.outer for layer in layers) - clamp
    spread = clamp + span * (np.arange(_SPREAD_CIRCLES) + 0.5) / _SPREAD_CIRCLES
    spread = spread[np.abs(spread - seat_radius) > _CLEARANCE * span / _SPREAD_CIRCLES]
    edges = [edge for layer in layers for edge in layer.edges if edge > clamp]
    circles = np.sort(np.concatenate([spread, edges, [seat_radius]]))
    circles = circles[np.concatenate([[True], np.diff(circles) > _SAME * span])]
    general = np.append(spread, seat_radius)
    return circles, np.min(np.abs(circles[:, None] - general), axis=1) <= _SAME * span
