"""Stacks against an independent solution: finite elements and a quadratic programme.

Every shim is a chain of cubic Hermite elements of an axisymmetric thin plate, every ring one without
support. Neighbours may touch on every node they share, and the seat under the face shim. The small lift is
the least energy under these one-sided conditions, found as a least distance programme by non-negative
least squares (Lawson & Hanson, Solving Least Squares Problems, 1974, chapter 23, from memory; scipy's
nnls). For the large lift the strains of von Karman are added (radial u' + w'²/2, tangential u/r), and the
least energy is found by a sequence of such programmes. Nothing of this is shared with the package: other
unknowns, another discretisation, another way to the contacts, and no factor for the stiffening.

Limits, the project's own for acceptance: lift 0.3 % and opening load 1 % at small lift, 3 % at large lift.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import (  # type: ignore[import-untyped,unused-ignore]  # may have no stubs
    cholesky,
    solve_triangular,
)
from scipy.optimize import brentq, nnls  # type: ignore[import-untyped,unused-ignore]  # may have no stubs

from dampcell.functions.cells.stacks import STACK
from dampcell.functions.stacks import Stack, StackModel, stack_from_rows

Floats = NDArray[np.float64]

MODULUS, POISSON = 206.0, 0.3
TETHER = 1e-6
"""Spring that holds a loose ring until something touches it [N/mm]."""

POINTS, WEIGHTS = np.polynomial.legendre.leggauss(4)


class Chain:
    """One plate as a chain of elements; unknowns are value and slope at every node, of w and of u."""

    def __init__(self, radii: Floats, *, bottom: float, thickness: float, loose: bool) -> None:
        self.radii, self.bottom, self.thickness, self.loose = radii, bottom, thickness, loose
        h = np.diff(radii)[:, None]
        s = 0.5 * (POINTS + 1.0)
        self.r = radii[:-1, None] + h * s
        self.area = np.pi * h * WEIGHTS * self.r
        one = np.ones_like(h)
        self.value = np.stack(
            [
                one * (1 - 3 * s**2 + 2 * s**3),
                h * (s - 2 * s**2 + s**3),
                one * (3 * s**2 - 2 * s**3),
                h * (s**3 - s**2),
            ],
            axis=2,
        )
        self.first = np.stack(
            [6 * (s**2 - s) / h, one * (1 - 4 * s + 3 * s**2), 6 * (s - s**2) / h, one * (3 * s**2 - 2 * s)],
            axis=2,
        )
        second = np.stack(
            [(12 * s - 6) / h**2, (6 * s - 4) / h, (6 - 12 * s) / h**2, (6 * s - 2) / h], axis=2
        )
        self.unknowns = 2 * np.arange(len(h))[:, None] + np.arange(4)
        hoop = self.first / self.r[:, :, None]
        rigidity = MODULUS * 1e3 * thickness**3 / (12.0 * (1.0 - POISSON**2))
        self.bending = self.matrix(rigidity * self.area, second, second + POISSON * hoop)
        self.bending += self.matrix(rigidity * self.area, hoop, hoop + POISSON * second)
        if loose:
            self.bending[0, 0] += TETHER
            self.bending[-2, -2] += TETHER
        self.membrane = MODULUS * 1e3 * thickness / (1.0 - POISSON**2)

    def matrix(self, weight: Floats, left: Floats, right: Floats) -> Floats:
        """Assemble ∫ left weight right."""
        matrix = np.zeros((2 * len(self.radii), 2 * len(self.radii)))
        parts = np.einsum("ep,epi,epj->eij", weight, left, right)
        np.add.at(matrix, (self.unknowns[:, :, None], self.unknowns[:, None, :]), parts)
        return matrix

    def vector(self, weight: Floats, shape: Floats) -> Floats:
        """Assemble ∫ weight shape."""
        vector = np.zeros(2 * len(self.radii))
        np.add.at(vector, self.unknowns, np.einsum("ep,epi->ei", weight, shape))
        return vector

    def node(self, radius: float) -> int:
        """Unknown of the lift at a radius."""
        return 2 * int(np.argmin(np.abs(self.radii - radius)))

    def stretch(self, w: Floats, u: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """In-plane forces on w and on u, and the tangents ww, wu, uu."""
        slope = np.einsum("epi,ei->ep", self.first, w[self.unknowns])
        hoop = self.value / self.r[:, :, None]
        radial = np.einsum("epi,ei->ep", self.first, u[self.unknowns]) + 0.5 * slope**2
        tangential = np.einsum("epi,ei->ep", hoop, u[self.unknowns])
        c = self.membrane * self.area
        n_r, n_t = c * (radial + POISSON * tangential), c * (tangential + POISSON * radial)
        tilted = slope[:, :, None] * self.first
        ww = self.matrix(c, tilted, tilted) + self.matrix(n_r, self.first, self.first)
        wu = self.matrix(c, tilted, self.first + POISSON * hoop)
        uu = self.matrix(c, self.first, self.first + POISSON * hoop)
        uu += self.matrix(c, hoop, hoop + POISSON * self.first)
        return self.vector(n_r, tilted), self.vector(n_r, self.first) + self.vector(n_t, hoop), ww, wu, uu


@dataclass(frozen=True)
class Equilibrium:
    """Lifts of the face shim by node, and the force between seat and face shim."""

    chain: Chain
    lifts: Floats
    seat_force: float

    def at(self, diameter: float) -> float:
        """Lift at a diameter that is a node."""
        return float(self.lifts[self.chain.node(0.5 * diameter)])


class Elements:
    """A stack of chains on a common grid, with all conditions that neighbours do not overlap."""

    def __init__(
        self,
        stack: Stack,
        load_diameter: float,
        *,
        seat_height: float = 0.0,
        window: tuple[float, float] | None = None,
        step: float = 0.4,
    ) -> None:
        self.seat, self.seat_height, self.window = 0.5 * load_diameter, seat_height, window
        grid = self._grid(stack, step)
        self.chains: list[Chain] = []
        height = 0.0
        parts = list(stack.parts)
        while parts:
            part = parts.pop(0)
            ring = None
            if part.kind != "shim":
                part, ring = sorted([part, parts.pop(0)], key=lambda one: one.kind)
            clamp = 0.5 * stack.clamp_diameter
            for one, inner in ((part, clamp), (ring, None)):
                if one is None or one.outer_diameter <= stack.clamp_diameter:
                    continue
                low = 0.5 * float(one.inner_diameter or 0.0) if inner is None else inner
                radii = grid[(grid > low - 1e-9) & (grid < 0.5 * one.outer_diameter + 1e-9)]
                for piece in range(one.quantity):
                    bottom = height + piece * one.thickness
                    self.chains.append(
                        Chain(radii, bottom=bottom, thickness=one.thickness, loose=inner is None)
                    )
            height += part.height
        sizes = [2 * len(chain.radii) for chain in self.chains]
        self.starts = np.concatenate([[0], np.cumsum(sizes)])
        self._conditions(grid)
        self.unit_load = self._load()

    def _grid(self, stack: Stack, step: float) -> Floats:
        clamp = 0.5 * stack.clamp_diameter
        bores = [part.inner_diameter for part in stack.parts if part.kind == "ring" and part.inner_diameter]
        marks = [2 * self.seat, *bores, *(self.window or ()), *(part.outer_diameter for part in stack.parts)]
        fixed = sorted({clamp, *(0.5 * mark for mark in marks if mark > stack.clamp_diameter)})
        grid = [clamp]
        for low, high in itertools.pairwise(fixed):
            # Near the clamp neighbours touch in a narrow zone: finer there.
            near = low == clamp
            count = int(np.ceil((high - low) / (0.05 if near else step)))
            share = np.linspace(0.0, 1.0, min(count, 20) + 1 if near else count + 1)[1:]
            grid.extend(low + (high - low) * (share**1.5 if near else share))
        return np.array(grid)

    def _conditions(self, grid: Floats) -> None:
        """Rows B and bounds g of B w ≥ g: nothing overlaps; the last is the seat."""
        rows: list[Floats] = []
        bounds: list[float] = []
        for radius in grid[1:]:
            here = [
                i
                for i, chain in enumerate(self.chains)
                if chain.radii[0] - 1e-9 < radius < chain.radii[-1] + 1e-9
            ]
            here.sort(key=lambda i: self.chains[i].bottom)
            for lower, upper in self._neighbours(here):
                row = np.zeros(self.starts[-1])
                row[self.starts[upper] + self.chains[upper].node(radius)] = 1.0
                row[self.starts[lower] + self.chains[lower].node(radius)] = -1.0
                rows.append(row)
                bounds.append(
                    self.chains[lower].bottom + self.chains[lower].thickness - self.chains[upper].bottom
                )
        row = np.zeros(self.starts[-1])
        row[self.chains[0].node(self.seat)] = 1.0
        self.rows, self.bounds = np.array([*rows, row]), np.array([*bounds, self.seat_height])

    def _neighbours(self, here: list[int]) -> list[tuple[int, int]]:
        """What lies on what; a ring and its centering shim on one circle lie side by side."""
        bottoms = [self.chains[i].bottom for i in here]
        levels = sorted(set(bottoms))
        at = [[i for i, bottom in zip(here, bottoms, strict=True) if bottom == level] for level in levels]
        return [pair for below, above in itertools.pairwise(at) for pair in itertools.product(below, above)]

    def _load(self) -> Floats:
        face, load = self.chains[0], np.zeros(self.starts[-1])
        if self.window is None:
            load[face.node(self.seat)] = 1.0
            return load
        inside = (face.r > 0.5 * self.window[0]) & (face.r < 0.5 * self.window[1])
        share = face.vector(face.area * inside, face.value)
        load[: len(share)] = share / (face.area * inside).sum()
        return load

    def part(self, i: int) -> slice:
        """Unknowns of chain i that are not held at the clamp."""
        return slice(self.starts[i] + (0 if self.chains[i].loose else 2), self.starts[i + 1])

    def solve(self, load: float, *, large: bool, seat: bool = True) -> Equilibrium:
        """Least energy under a load."""
        rows, bounds = (self.rows, self.bounds) if seat else (self.rows[:-1], self.bounds[:-1])
        self.scale = 1.0
        w, u = np.zeros(self.starts[-1]), np.zeros(self.starts[-1])
        for _ in range(60 if large else 1):
            factors: list[Floats] = []
            moves: list[NDArray[np.floating]] = []
            away = np.zeros_like(w)
            for i, chain in enumerate(self.chains):
                part, whole = self.part(i), slice(self.starts[i], self.starts[i + 1])
                held = slice(0 if chain.loose else 2, None)
                residual = chain.bending @ w[whole] - load * self.unit_load[whole]
                tangent = chain.bending
                if large:
                    f_w, f_u, ww, wu, uu = chain.stretch(w[whole], u[whole])
                    solved = np.linalg.solve(uu[held, held], np.column_stack([wu.T[held], f_u[held]]))
                    moves.append(solved)
                    tangent = tangent + ww - wu[:, held] @ solved[:, :-1]
                    residual = residual + f_w - wu[:, held] @ solved[:, -1]
                upper = cholesky(tangent[held, held])
                factors.append(upper)
                away[part] = solve_triangular(upper, residual[held], trans="T")
            step, forces = self._programme(rows, bounds - rows @ w, factors, away)
            for i, move in enumerate(moves):
                whole = slice(self.starts[i], self.starts[i + 1])
                u[self.part(i)] -= move[:, :-1] @ step[whole] + move[:, -1]
            w += step
            if np.abs(step).max() < 1e-6 * max(np.abs(w).max(), 1e-6):
                break
        else:
            assert not large, "the sequence of programmes did not settle"
        return Equilibrium(self.chains[0], w[: self.starts[1]], float(forces[-1]) if seat else 0.0)

    def _programme(
        self, rows: Floats, bounds: Floats, factors: list[Floats], away: Floats
    ) -> tuple[Floats, Floats]:
        """Least |R d + away|² with rows d ≥ bounds, as least |z| with G z ≥ h; d and the multipliers."""
        reduced = np.zeros_like(rows)
        for i, upper in enumerate(factors):
            reduced[:, self.part(i)] = solve_triangular(upper, rows[:, self.part(i)].T, trans="T").T
        limit = bounds + reduced @ away
        for _ in range(4):
            given = np.vstack([reduced.T, limit / self.scale])
            wanted = np.zeros(len(given))
            wanted[-1] = 1.0
            dual, _ = nnls(given, wanted, maxiter=50 * len(limit))
            rest = given @ dual - wanted
            z, forces = -self.scale * rest[:-1] / rest[-1], -self.scale * dual / rest[-1]
            size = float(np.linalg.norm(z))
            if 1e-3 < size / self.scale < 1e3 or size == 0.0:
                break
            self.scale = size  # the programme is well scaled when its answer is near 1
        step = np.zeros_like(away)
        for i, upper in enumerate(factors):
            step[self.part(i)] = solve_triangular(upper, (z - away)[self.part(i)])
        return step, forces

    def opening(self, *, large: bool) -> float:
        """Load at which the face shim leaves the seat."""
        if self.window is None:
            # Load and seat share a circle: the seat's reaction at no load is what the load has to take over.
            return self.solve(0.0, large=large).seat_force
        node = self.chains[0].node(self.seat)

        def excess(load: float) -> float:
            return float(self.solve(load, large=large, seat=False).lifts[node]) - self.seat_height

        return float(brentq(excess, 0.0, 2000.0, rtol=1e-6)) if excess(0.0) < -1e-9 else 0.0


# -- the comparison -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Case:
    """A stack, its load and seat, and the loads [N] to compare at, all clear of the opening load."""

    shims: str
    seat: float
    loads: tuple[float, ...]
    clamp: float = 12.0
    seat_height: float = 0.0
    window: tuple[float, float] | None = None

    def stack(self) -> Stack:
        """Parts from words such as "2x30x0.15" or "ring 28/20x0.25"."""
        rows: list[list[object]] = []
        for word in self.shims.split(", "):
            kind, _, size = word.rpartition(" ")
            *pieces, outer, thickness = size.split("x")
            bore = outer.partition("/")[2]
            rows.append(
                [
                    kind or "shim",
                    float(outer.partition("/")[0]),
                    float(thickness),
                    float(pieces[0]) if pieces else 1.0,
                    float(bore) if bore else None,
                ]
            )
        rows.append(["clamp", self.clamp, 0.3, 1.0, None])
        return stack_from_rows(STACK.parse(rows, parameter="stack"))


CASES = {
    "one shim": Case("30x0.2", 26, (5, 40)),
    "pyramid of six sizes": Case("3x30x0.15, 28x0.15, 26x0.15, 24x0.15, 20x0.2, 16x0.2", 27, (50,)),
    "rising sizes": Case("24x0.2, 26x0.2, 30x0.2", 23, (30,)),
    "two stages, gap open and closed": Case("2x30x0.15, 20x0.1, 30x0.2, 26x0.2", 27, (5, 60, 150)),
    "twelve shims, two stages": Case(
        "4x30x0.1, 18x0.1, 30x0.15, 28x0.15, 26x0.15, 24x0.15, 22x0.15, 20x0.2, 16x0.3", 27, (3, 15, 50)
    ),
    "twelve shims, pyramid": Case(
        "4x36x0.15, 34x0.15, 32x0.15, 30x0.15, 28x0.15, 26x0.15, 24x0.2, 20x0.2, 16x0.25", 33, (60,)
    ),
    "small spacers near the clamp": Case("30x0.15, 13x0.1, 30x0.2, 14x0.2, 28x0.2", 26, (2, 10, 40)),
    "thin on thick": Case("30x0.1, 24x0.4, 30x0.1, 28x0.3", 29, (2, 20)),
    "ring thicker than its centering shim": Case(
        "30x0.15, centering 16x0.2, ring 28/20x0.25, 2x30x0.2, 26x0.2, 20x0.2", 27, (60, 120)
    ),
    "ring thinner than its centering shim": Case(
        "30x0.15, centering 16x0.2, ring 28/20x0.15, 2x30x0.2, 26x0.2, 20x0.2", 27, (2, 20, 60)
    ),
    "ring as thick as its centering shim": Case(
        "2x30x0.15, ring 28/21x0.2, centering 20x0.2, 30x0.2, 22x0.2", 26, (20,)
    ),
    "ring that fits its centering shim without play": Case(
        "2x30x0.15, ring 28/20x0.25, centering 20x0.2, 2x30x0.2, 22x0.2", 26, (120,)
    ),
    "two rings": Case(
        "30x0.15, centering 16x0.2, ring 30/18x0.23, 2x28x0.15, centering 16x0.15, ring 26/17x0.17, "
        "2x28x0.2, 20x0.2",
        27,
        (60, 120),
    ),
    "three rings": Case(
        "2x30x0.1, centering 2x16x0.1, ring 2x30/24x0.12, 28x0.15, centering 15x0.15, ring 26/20x0.14, "
        "28x0.15, centering 15x0.2, ring 28/16x0.3, 2x30x0.2",
        28,
        (80,),
    ),
    "pressure over a port window": Case("2x30x0.15, 26x0.15, 20x0.2", 27, (30,), window=(16, 25)),
    "window and ring preload": Case(
        "30x0.15, centering 16x0.2, ring 28/20x0.22, 2x30x0.2, 20x0.2", 27, (40,), window=(16, 25)
    ),
    "raised seat": Case("2x30x0.2, 26x0.2, 20x0.2", 27, (60,), seat_height=0.08),
    "raised seat, window, two stages": Case(
        "30x0.15, 22x0.1, 30x0.2, 20x0.15, 26x0.2", 27, (200,), seat_height=0.15, window=(15, 24)
    ),
    "wide shim over an inner seat": Case("2x40x0.15, 24x0.15, 40x0.15, 30x0.2", 24, (20,), clamp=10),
    "seat near a wide clamp": Case("2x30x0.2, 26x0.2, 20x0.2", 17, (100,), clamp=16),
}

LARGE = {
    "one shim": Case("30x0.2", 26, (10, 40)),
    "rising sizes": Case("24x0.2, 26x0.2, 30x0.2", 23, (60,)),
    "pyramid": Case("30x0.2, 28x0.2, 24x0.2, 18x0.2", 27, (80,)),
    "two stages, gap open and closed": Case("30x0.2, 22x0.06, 30x0.2, 20x0.1, 26x0.2", 27, (15, 45)),
    "ring thicker than its centering shim": Case(
        "30x0.15, centering 16x0.2, ring 28/20x0.25, 30x0.25, 26x0.2, 20x0.2", 27, (70,)
    ),
    "two rings": Case(
        "30x0.15, centering 16x0.2, ring 30/18x0.23, 2x28x0.15, centering 16x0.15, ring 26/17x0.17, "
        "2x28x0.2, 20x0.2",
        27,
        (40, 80),
    ),
    "raised seat": Case("30x0.2, 26x0.2, 20x0.2", 27, (60,), seat_height=0.08),
    "pressure over a port window": Case("30x0.2, 26x0.15, 20x0.2", 27, (50,), window=(16, 25)),
}


@pytest.mark.parametrize("name", CASES)
def test_small_lift_and_opening_load_agree_with_finite_elements(name: str) -> None:
    case = CASES[name]
    stack = case.stack()
    model = StackModel(stack, case.seat, seat_height=case.seat_height, theory="small", window=case.window)
    elements = Elements(stack, case.seat, seat_height=case.seat_height, window=case.window)
    opening = elements.opening(large=False)
    assert model.opening() == pytest.approx(opening, rel=0.01, abs=1e-6)
    assert min(case.loads) > 1.5 * opening
    lifts = model.lift(model.states(case.loads))
    edges = model.lift(model.states(case.loads), stack.face.outer_diameter)
    for load, lift, edge in zip(case.loads, lifts, edges, strict=True):
        found = elements.solve(load, large=False)
        assert lift == pytest.approx(found.at(case.seat), rel=0.003)
        assert edge == pytest.approx(found.at(stack.face.outer_diameter), rel=0.003)


@pytest.mark.parametrize("name", LARGE)
def test_large_lift_and_opening_load_agree_with_finite_elements(name: str) -> None:
    case = LARGE[name]
    stack = case.stack()
    model = StackModel(stack, case.seat, seat_height=case.seat_height, theory="large", window=case.window)
    elements = Elements(stack, case.seat, seat_height=case.seat_height, window=case.window, step=0.6)
    if case.window is None:
        assert model.opening() == pytest.approx(elements.opening(large=True), rel=0.03, abs=1e-6)
    states = model.states(case.loads)
    assert not model.notes(states), "compare within the axisymmetric range"
    for load, lift in zip(case.loads, model.lift(states), strict=True):
        found = elements.solve(load, large=True)
        assert lift == pytest.approx(found.at(case.seat), rel=0.03)


def test_finite_elements_have_converged() -> None:
    """Half the element length changes the small lift of a hard case by less than a tenth of the limit."""
    case = CASES["two rings"]
    coarse, fine = (
        Elements(case.stack(), case.seat, step=step).solve(60, large=False).at(27) for step in (0.4, 0.2)
    )
    assert coarse == pytest.approx(fine, rel=0.0003)
