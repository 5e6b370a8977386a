"""Layers of a stack in one-sided contact: the equilibrium of the whole.

Every layer is a thin plate with closed-form influence functions (`plates`).
Layers press on each other, frictionless, on candidate circles: all edges, the
seat, and a few more between them. At each candidate either the gap is open and
the force zero, or the gap is closed and the force not negative: a linear
complementarity problem, solved by pivoting on the set of closed contacts.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from dampcell.functions.errors import NoSolutionError
from dampcell.functions.layers import Flags, Layer, Source, contact_circles, find_meetings, present
from dampcell.functions.plates import Floats, Plate, membrane_kernel
from dampcell.functions.states import LEAST, Pace, States, carried

__all__ = ["AXISYMMETRIC_LIMIT", "Contacts"]

AXISYMMETRIC_LIMIT = 2.0
"""Edge lift over thickness [-] beyond which a plate goes wavy and stiffens no further.

Own finite-shell study behind the design: the axisymmetric shape is unstable above
about 2.0 to 2.6, and the true secant stiffness stays at 1.6 to 2.2 times the linear one.
"""

_GROUND = 1e-7
"""Spring that holds a loose ring in place until something touches it [N/mm]."""

_GAUSS = np.polynomial.legendre.leggauss(24)
_REFERENCES = 8  # loads solved first, from which many others start
_TOLERANCE = 1e-5  # on the stiffening, relative
_SLACK = 1e-9  # of the largest gap or force, below which a wrong sign is rounding
_PATIENCE = 12  # block exchanges without progress before contacts are exchanged one at a time
_TOGETHER = 40  # sweeps in which contacts and stiffening are corrected side by side
_SWEEPS = 200


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
    All loads of a call are solved side by side in arrays with a leading axis n. Which others
    are asked for with a load changes its lift by no more than the tolerance on the stiffening.
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
        circles = contact_circles(self.layers, seat_radius)
        self._count_circles = len(circles)
        self._radii = np.concatenate([circles, source.radii])
        self._rigidity = np.array([layer.rigidity for layer in self.layers])
        self._loose = np.flatnonzero([layer.loose for layer in self.layers])
        self._meetings = find_meetings(self.layers, circles, seat_radius, seat_height)
        self._influence = self._deflections()
        self._weigh_contacts()
        self._face = self._influence[0][:, self._count_circles :] @ source.weights
        self._edge = np.array([np.argmin(np.abs(circles - layer.outer)) for layer in self.layers])
        self._membrane()

    def _weigh_contacts(self) -> None:
        """Which way each contact pushes each layer, and what it does to every other contact's gap."""
        met, count, layers = self._meetings, len(self._meetings.gap), len(self.layers)
        signs = np.zeros((layers + 1, count))
        signs[met.upper, np.arange(count)] = 1.0
        signs[met.lower, np.arange(count)] = -1.0
        self._signs = signs[:-1]
        spread = np.zeros((count, layers, len(self._radii)))
        spread[np.arange(count), :, met.circle] = self._signs.T
        self._spread = spread.reshape(count, -1)
        at = np.ix_(np.arange(layers), met.circle, met.circle)
        parts = self._influence[at] * self._signs[:, :, None] * self._signs[:, None, :]
        self._pressed = parts.reshape(layers, -1)
        # Load is handed on no farther out than where it comes from and where both neighbours are.
        reach = np.zeros(layers)
        reach[0] = self.source.radii.max()
        outer = np.array([layer.outer for layer in self.layers])
        resting = np.flatnonzero(met.gap[:-1] <= 0.0)
        for lower, upper in sorted(
            set(zip(met.lower[resting].tolist(), met.upper[resting].tolist(), strict=True))
        ):
            reach[upper] = max(reach[upper], min(reach[lower], outer[lower], outer[upper]))
        within = self._radii[met.circle] <= reach[met.upper] * (1.0 + _SLACK)
        self._guess = (met.gap <= 0.0) & within
        self._guess[-1] = False

    def _deflections(self) -> Floats:
        """Influence of a force on any circle on the lift on any other, (layers + seat, circles, circles)."""
        radii, layers = self._radii, self.layers
        reach = present(layers, radii).T
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
            States at some loads to start from; the nearest is used. Those of another model serve
            where it has as many layers and contacts.

        Returns
        -------
        States

        Raises
        ------
        NoSolutionError
            If the contacts or the stiffening do not settle.
        """
        fits = start is not None and start.closed.shape[1:] == self._meetings.gap.shape
        if start is None or not fits or start.stiffening.shape[1] != len(self.layers):
            start = None
        if start is None and np.count_nonzero(loads) > 2 * _REFERENCES:
            some = np.sort(loads[loads > 0.0])
            few = some[np.linspace(0, len(some) - 1, _REFERENCES).round().astype(int)]
            start = self._settle(few, large=large, opening=False)
        if start is not None:
            start = carried(start, loads)
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

        Contacts are exchanged in blocks: Kostreva, Block pivot methods for solving the
        complementarity problem, Linear Algebra Appl. 21 (1978) 207-215. Where that does
        not help they are searched for one by one, and what rounding leaves of that is
        exchanged one at a time, always the last: Murty, Note on a Bard-type scheme for
        solving the complementarity problem, Opsearch 11 (1974) 123-130 (both from memory).
        """
        n, count = len(loads), len(self._meetings.gap)
        closed = np.tile(self._guess, (n, 1)) if start is None else start.closed.copy()
        stiffening = np.ones((n, len(self.layers))) if start is None else start.stiffening.copy()
        least, patience, searched = np.full(n, count + 1), np.full(n, _PATIENCE), np.zeros(n, dtype=bool)
        done = States(
            loads.copy(),
            np.zeros((n, len(self.layers), len(self._radii))),
            np.zeros((n, len(self._loose))),
            stiffening,
            closed,
        )
        todo = np.arange(n)
        pace = Pace(stiffening)
        for sweep in range(_SWEEPS + 4 * count):
            trial, wrong = self._trial(loads[todo], stiffening[todo], closed[todo], opening=opening)
            amount = np.count_nonzero(wrong, axis=1)
            better = amount < least[todo]
            least[todo] = np.where(better, amount, least[todo])
            patience[todo] = np.where(better, _PATIENCE, patience[todo] - 1)
            stuck = patience[todo] < 0
            last_only = np.cumsum(wrong[:, ::-1], axis=1)[:, ::-1] == 1
            closed[todo] ^= wrong & (last_only | ~stuck[:, None])
            for row in np.flatnonzero(stuck & (amount > 0) & ~searched[todo]):
                index = todo[row]
                closed[index] = self._search(float(loads[index]), stiffening[index], opening=opening)
                searched[index] = True
            settled = amount == 0
            if large:
                target, following = self._stiffen(trial)
                error = np.max(np.abs(target - trial.stiffening) / trial.stiffening, axis=1)
                fresh = settled & (error >= _TOLERANCE)
                # Both at once is quick, but can chase each other round in circles: contacts that do not
                # settle are sorted out with the stiffening held.
                move = fresh | (~settled & ~stuck & (sweep < _TOGETHER))
                stiffening[todo[move]] = pace.step(todo[move], following[move])
                least[todo[fresh]], patience[todo[fresh]], searched[todo[fresh]] = count + 1, _PATIENCE, False
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

    def _search(self, load: float, stiffening: Floats, *, opening: bool) -> Flags:
        """Find the closed contacts of one load by taking up the deepest overlap, time and again.

        Slow, but the energy falls with every step: the active set method of Lawson & Hanson, Solving
        Least Squares Problems, 1974, chapter 23 (from memory), for this quadratic programme, with the
        shifts of loose rings, and for the opening the load, as unknowns of any sign.
        """
        count, loose = len(self._meetings.gap), len(self._loose)
        pressed = (self._pressed.T @ (1.0 / stiffening)).reshape(count, count)
        push = self._signs[0] * self._face[self._meetings.circle] / stiffening[0]
        columns, rows = self._signs[self._loose].T, self._signs[self._loose]
        corner, fixed = -_GROUND * np.eye(loose), np.zeros(loose)
        right = self._meetings.gap + (0.0 if opening else load) * push
        may_close = np.ones(count, dtype=bool)
        if opening:
            columns, rows = np.column_stack([columns, push]), np.vstack([rows, pressed[-1]])
            corner = np.pad(corner, ((0, 1), (0, 1)))
            corner[-1, -1], fixed = push[-1], np.append(fixed, self._meetings.gap[-1])
            may_close[-1] = False

        def balance(closed: NDArray[np.intp]) -> tuple[Floats, Floats]:
            block = [[pressed[np.ix_(closed, closed)], columns[closed]], [rows[:, closed], corner]]
            answer = _solved(np.block(block), -np.concatenate([right[closed], fixed]))
            return answer[: len(closed)], answer[len(closed) :]

        closed = np.zeros(count, dtype=bool)
        forces, free = np.zeros(count), balance(np.flatnonzero(closed))[1]
        barred = ~may_close
        for _ in range(10 * count):
            gaps = right + pressed @ forces + columns @ free
            gaps[closed | barred] = 0.0
            deepest = int(gaps.argmin())
            if gaps[deepest] >= -_SLACK * (np.abs(gaps).max() + 1e-6):
                return closed
            closed[deepest] = True
            while True:
                inside = np.flatnonzero(closed)
                wanted, free_then = balance(inside)
                if np.all(wanted > 0.0):
                    forces[inside], free, barred = wanted, free_then, ~may_close
                    break
                if forces[deepest] == 0.0 and wanted[inside == deepest][0] <= 0.0:
                    closed[deepest], barred[deepest] = False, True  # rounding: leave it for now
                    break
                back = inside[wanted <= 0.0]
                share = np.min(forces[back] / (forces[back] - wanted[wanted <= 0.0]))
                forces[inside] += share * (wanted - forces[inside])
                dropped = back[forces[back] <= 1e-12 * forces.max()]
                forces[dropped], closed[dropped] = 0.0, False
        return closed

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
        size = most + loose + int(opening)
        matrix = np.zeros((n, size, size))
        right = np.zeros((n, size))
        rows = np.arange(n)[:, None]
        used = closed[rows, picked]
        pressed = (1.0 / stiffening) @ self._pressed
        cells = picked[:, :, None] * len(self._meetings.gap) + picked[:, None, :]
        matrix[:, :most, :most] = pressed[rows[:, :, None], cells]
        if not used.all():
            # Loads with fewer closed contacts than the others are filled up with idle equations.
            matrix[:, :most, :most] *= used[:, :, None] & used[:, None, :]
            matrix[:, np.arange(most), np.arange(most)] += ~used
        for column, ring in enumerate(self._loose, start=most):
            sign = self._signs[ring][picked] * used
            matrix[:, :most, column] = matrix[:, column, :most] = sign
            matrix[:, column, column] = -_GROUND
        push = self._signs[0] * self._face[self._meetings.circle] / stiffening[:, :1]
        right[:, :most] = (self._meetings.gap + loads[:, None] * push)[rows, picked] * used
        if opening:
            seat = pressed[:, -len(self._meetings.gap) :]
            matrix[:, -1, :most] = np.take_along_axis(seat, picked, axis=1) * used
            matrix[:, :most, -1] = push[rows, picked] * used
            matrix[:, -1, -1] = push[:, -1]
            right[:, -1] = self._meetings.gap[-1]
        answer = _solved(matrix, -right[:, :, None])[:, :, 0]
        if opening:
            loads = answer[:, -1]
        forces = np.zeros(closed.shape)
        forces[rows, picked] = answer[:, :most] * used
        shapes: Floats = (forces @ self._spread).reshape(n, len(self.layers), -1)
        shapes[:, 0, self._count_circles :] += loads[:, None] * self.source.weights
        shapes /= stiffening[:, :, None]
        shifts = answer[:, most : most + loose]
        state = States(loads, shapes, shifts, stiffening, closed)
        lifts = np.zeros((n, len(self.layers) + 1, len(self._radii)))
        lifts[:, :-1] = self._lifts(state)
        lifts[:, self._loose] += shifts[:, :, None]
        met = self._meetings
        gaps = met.gap + lifts[:, met.upper, met.circle] - lifts[:, met.lower, met.circle]
        slack = _SLACK * (np.abs(gaps).max(axis=1, keepdims=True) + 1e-6)
        strain = _SLACK * (np.abs(forces).max(axis=1, keepdims=True) + 1e-3)
        wrong = np.where(closed, forces < -strain, gaps < -slack)
        if opening:
            wrong[:, -1] = False
        return state, wrong

    def _lifts(self, states: States) -> Floats:
        """Elastic lift of every layer on every circle, shape (n, layers, circles) [mm]."""
        lifts: Floats = np.matmul(states.shapes.transpose(1, 0, 2), self._influence[:-1])
        return lifts.transpose(1, 0, 2)

    # -- large lift -----------------------------------------------------------------------------------

    def _membrane(self) -> None:
        """Slopes at quadrature points and the in-plane energy kernel of every layer."""
        nodes, weights = _GAUSS
        inner = np.array([layer.inner for layer in self.layers])[:, None]
        outer = np.array([layer.outer for layer in self.layers])[:, None]
        at, step = 0.5 * (outer - inner) * nodes + 0.5 * (outer + inner), 0.5 * (outer - inner) * weights
        plate = Plate(self.layers[0].inner, outer[:, :, None], self.poisson)
        self._slopes = plate.slope(at, self._radii) * self._reach[:, None, :]
        kernel = membrane_kernel(at, at, inner[:, :, None], outer[:, :, None], poisson=self.poisson)
        for i in map(int, self._loose):
            low, high, ring = inner[i, 0], outer[i, 0], np.flatnonzero(self._reach[i])
            plate = Plate(low, high, self.poisson, "hinged")
            self._slopes[i][:, ring] = plate.slope(at[i], np.clip(self._radii[ring], low, high))
            kernel[i] = membrane_kernel(at[i], at[i], low, high, poisson=self.poisson, support="hinged")
        self._slopes /= self._rigidity[:, None, None]
        self._kernels = kernel * step[:, :, None] * step[:, None, :]
        self._points, self._steps = at, step
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

    def _growth(self, states: States) -> tuple[Floats, Floats]:
        """Excess of every plate's stiffness for its shape, and its cap, (n, layers, plates) [-]."""
        lifts, strains = self._lifts(states), self._strains(states)
        work = (states.shapes * lifts).sum(axis=2)
        stretch = (np.matmul(strains, self._kernels) * strains).sum(axis=2).T
        factor = 48.0 * np.pi * (1.0 - self.poisson**2) * self._rigidity
        whole = np.where(work > 0.0, factor * stretch / np.where(work > 0.0, work, 1.0), 0.0)
        raw = whole[:, :, None] / self._thickness**2
        edge = np.abs(lifts[:, np.arange(len(self.layers)), self._edge, None])
        cap = raw * (AXISYMMETRIC_LIMIT * self._thickness / np.where(edge > LEAST, edge, 1.0)) ** 2
        return raw, cap

    def _stiffen(self, states: States) -> tuple[Floats, Floats]:
        """Stiffening that belongs to the shapes of a state, and a better guess for the next one.

        For a plate that keeps its shape the bending energy U_b goes with w² and the
        membrane energy U_m with w⁴, so its secant stiffness grows by 1 + 2 U_m/U_b.
        The guess solves that for each layer as if its load stayed the same.
        """
        raw, cap = self._growth(states)
        target = 1.0 + (self._shares * np.minimum(raw, cap)).sum(axis=2)
        guess = states.stiffening
        for _ in range(2):
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

    def compliance(self, states: States, radius: float, *, large: bool) -> Floats:
        """Change of lift at a radius with the load, with the contacts as they are.

        Parameters
        ----------
        states : States
            States of this model, with a load that lifts.
        radius : float
            Where the lift is read [mm].
        large : bool
            Whether plates stiffen with their lift.

        Returns
        -------
        ndarray, shape (n,)
            dw/dF [mm/N]; exact for this model, because a layer's stiffening depends on its own
            shape f alone: s df = dp − f (g·dp)/(s + g·f) for a change dp of its forces, with the
            gradient g of the stiffening.

        Raises
        ------
        NoSolutionError
            If the contacts are not solvable.
        """
        met, face = self._meetings, self.layers[0]
        soft = 1.0 / states.stiffening
        gradient = self._gradient(states) if large else np.zeros_like(states.shapes)
        share = soft / (states.stiffening + (gradient * states.shapes).sum(axis=2))
        lifted = self._signs * self._lifts(states)[:, :, met.circle]
        felt = self._signs * gradient[:, :, met.circle]
        pressed = (soft @ self._pressed).reshape(len(soft), len(met.gap), len(met.gap))
        pressed = pressed - np.matmul((lifted * share[:, :, None]).transpose(0, 2, 1), felt)
        own = gradient[:, 0, self._count_circles :] @ self.source.weights
        push = (
            soft[:, :1] * self._signs[0] * self._face[met.circle]
            - (share[:, 0] * own)[:, None] * lifted[:, 0]
        )
        plate = Plate(face.inner, face.outer, self.poisson)
        read = plate.deflection(radius, np.minimum(self._radii, face.outer))[0] / face.rigidity
        unit = np.zeros(len(self._radii))
        unit[self._count_circles :] = self.source.weights
        rings = self._signs[self._loose]
        found = np.zeros(len(soft))
        for row, closed in enumerate(states.closed):
            inside = np.flatnonzero(closed)
            across = rings[:, inside]
            block = [
                [pressed[row][np.ix_(inside, inside)], across.T],
                [across, -_GROUND * np.eye(len(rings))],
            ]
            forces = _solved(np.block(block), -np.append(push[row, inside], np.zeros(len(rings))))
            moved = unit + forces[: len(inside)] @ self._spread[inside, : len(unit)]
            bent = soft[row, 0] * moved - share[row, 0] * (gradient[row, 0] @ moved) * states.shapes[row, 0]
            found[row] = read @ bent
        return found

    def _gradient(self, states: States) -> Floats:
        """Gradient of each layer's stiffening by the forces of its shape, (n, layers, circles) [1/N]."""
        lifts, strains = self._lifts(states), self._strains(states)
        turned = np.matmul(states.shapes.transpose(1, 0, 2), self._slopes.transpose(0, 2, 1))
        work = (states.shapes * lifts).sum(axis=2)[:, :, None]
        spanned = np.matmul(strains, self._kernels + self._kernels.transpose(0, 2, 1))
        stretch = 0.5 * (spanned * strains).sum(axis=2).T[:, :, None]
        by_stretch = np.matmul(spanned * turned, self._slopes).transpose(1, 0, 2)
        raw, cap = self._growth(states)
        layers = np.arange(len(self.layers))
        edge = lifts[:, layers, self._edge, None]
        by_edge = self._influence[layers, self._edge][None] / np.where(np.abs(edge) > LEAST, edge, np.inf)
        grown = (self._shares * np.minimum(raw, cap)).sum(axis=2)[:, :, None]
        capped = (self._shares * np.where(raw < cap, 0.0, cap)).sum(axis=2)[:, :, None]
        by_shape = by_stretch / np.where(stretch > 0.0, stretch, np.inf)
        by_shape -= 2.0 * lifts / np.where(work > 0.0, work, np.inf)
        result: Floats = grown * by_shape - 2.0 * capped * by_edge
        return result

    def edge_ratio(self, states: States) -> Floats:
        """Largest edge lift over thickness of any clamped shim [-], shape (n,)."""
        edge = np.abs(self._lifts(states)[:, np.arange(len(self.layers)), self._edge])
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
            Whether to add the membrane stress.

        Returns
        -------
        list of list of ndarray
            By layer and plate, shape (n,) [MPa]: the larger of radial and tangential
            bending stress on any circle, with the membrane stress added to the radial one.
        """
        strains = self._strains(states)
        found = []
        for i, layer in enumerate(self.layers):
            reach = np.flatnonzero(self._reach[i])
            circles = np.clip(self._radii[reach], layer.inner, layer.outer)
            at = np.concatenate([[layer.inner], circles])
            plate = Plate(layer.inner, layer.outer, self.poisson, "hinged" if layer.loose else "clamped")
            radial, hoop = plate.moments(at, circles)
            forces = states.shapes[:, i, reach]
            # The curvature is common to the plates of a layer: each bears moment by its own rigidity.
            radial_moment = np.abs(forces @ radial.T) / layer.rigidity
            hoop_moment = np.abs(forces @ hoop.T) / layer.rigidity
            membrane = np.zeros_like(radial_moment)
            if large and not layer.loose:
                kernel = membrane_kernel(at, self._points[i], layer.inner, layer.outer, poisson=self.poisson)
                membrane = modulus * 1e3 * (strains[i] @ (kernel * self._steps[i]).T) / at
            plates = []
            for t, rigidity in zip(layer.thicknesses, layer.rigidities, strict=True):
                bending = 6.0 * rigidity / t**2
                stress = np.maximum(bending * radial_moment + membrane, bending * hoop_moment)
                plates.append(stress.max(axis=1))
            found.append(plates)
        return found


def _solved(matrix: Floats, right: Floats) -> Floats:
    try:
        return np.asarray(np.linalg.solve(matrix, right), dtype=float)
    except np.linalg.LinAlgError as error:
        raise NoSolutionError("the contacts of this stack are not solvable", parameter="stack") from error
