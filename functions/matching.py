"""Stacks from a drawer that come nearest to a wanted change of damping.

A wish is turned into what the stack has to do: lift so far at such a load. Many
stacks are compared by a cheap stand-in (a plate whose rigidity steps down where
shims end), its bias is taken out by the real stack model on the best of them,
and the finalists are computed in full.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dampcell.functions.damping import DampingModel, LiftTable
from dampcell.functions.errors import InputError, NoSolutionError, ValidityError
from dampcell.functions.flow import Floats, Fluid
from dampcell.functions.plates import POISSON, flexural_rigidity
from dampcell.functions.roots import increasing_root
from dampcell.functions.stack_reading import worst_stress
from dampcell.functions.stacks import ENDURANCE_LIMIT, Part, Stack, StackModel

__all__ = ["Kind", "Match", "Wish", "match_stacks"]

Counts = NDArray[np.intp]

_BEAM = 48
_ROUNDS = 4
_CHECKED = 16  # stacks that the real model checks in each round
_FINALISTS = 12
_LARGEST_STEP = 0.5  # between neighbouring diameters, of the face shim's overhang over the clamp
_KEEP = 2e-3  # how little a piece more or less than in the given stack counts beside the wish


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of shim in the drawer: outer diameter and thickness [mm], number on hand [-]."""

    outer_diameter: float
    thickness: float
    count: int


@dataclass(frozen=True, slots=True)
class Wish:
    """A wanted force [N] at a velocity [m/s]."""

    velocity: float
    force: float


@dataclass(frozen=True, slots=True)
class Match:
    """A stack from the drawer.

    Parameters
    ----------
    stack : Stack
        The stack, from the face to the clamp.
    forces : tuple of float
        Force at the velocity of each wish [N].
    error : float
        Root mean square of force over wanted force less one [-].
    stress_ratio : float
        Largest stress over a typical endurance limit at the fastest wish [-].
    """

    stack: Stack
    forces: tuple[float, ...]
    error: float
    stress_ratio: float


def match_stacks(
    drawer: Sequence[Kind],
    model: DampingModel,
    fluid: Fluid,
    *,
    stack: Stack,
    wishes: Sequence[Wish],
    most_shims: int = 14,
    wanted: int = 5,
) -> list[Match]:
    """Find the stacks of a drawer that come nearest to the wishes.

    Parameters
    ----------
    drawer : sequence of Kind
        Shims on hand.
    model : DampingModel
        The given build, whose valve, oil and dial stay.
    fluid : Fluid
        The oil at its temperature.
    stack : Stack
        The given stack: its clamp and the size of its face shim are kept.
    wishes : sequence of Wish
        Wanted forces.
    most_shims : int
        Largest number of shims [-], 1 to 30.
    wanted : int
        Number of stacks to return [-].

    Returns
    -------
    list of Match
        Best first; fewer if the drawer gives no more.

    Raises
    ------
    InputError
        If no shim of the drawer can be the face shim, or there is no wish.
    ValidityError
        If no stack at all gives the force: the bleed alone or the ports alone decide.

    Notes
    -----
    Tried are plain tapers: diameters fall from the face to the clamp in steps of at most
    half the face shim's overhang, the face shim covers the seat and is no larger than the
    given one, every shim is larger than the clamp, counts are kept. No rings, no spacers.
    A beam of 48 stacks is improved by adding, taking and swapping single shims with a
    stand-in for the stiffness; the 16 best are measured with the stack model, which
    corrects the stand-in; four times over. Nothing is random. On small drawers the best
    found is compared with all possible stacks in the tests.
    """
    if not wishes:
        raise InputError("has no wish", parameter="wish", allowed="rows of velocity and change or force")
    if not 1 <= most_shims <= 30:
        raise InputError("is out of range", parameter="most_shims", found=most_shims, allowed="1 to 30")
    search = _Search(drawer, stack, model, most_shims)
    points = [_required(model, fluid, wish) for wish in wishes]
    measured = search.run(points)
    found = [_finished(search.stack_of(counts), model, fluid, wishes) for counts in measured[:_FINALISTS]]
    return sorted(found, key=lambda match: match.error)[:wanted]


@dataclass(frozen=True, slots=True)
class _Point:
    """What a stack has to do for a wish: lift so far off its seat [mm] under such a load [N]."""

    load: float
    lift: float


def _required(model: DampingModel, fluid: Fluid, wish: Wish) -> _Point:
    """Load and lift of a stack that gives the wanted force."""
    valve = model.valve
    face = valve.face
    flow = wish.velocity * valve.displaced_area
    pressure = 10.0 * wish.force / valve.displaced_area
    beside = model.beside(np.array([pressure]), fluid)
    under_shims = flow - float(beside[0])
    under = pressure - float(face.throat.pressure(np.array([max(under_shims, 0.0)]), fluid)[0])
    if under_shims <= 0.0 or under <= 0.0:
        limit = "bleed and adjuster let through" if under_shims <= 0.0 else "ports and displaced area need"
        raise ValidityError(
            f"no stack gives this force at {wish.velocity:g} m/s: it is beyond what {limit}",
            parameter="wish",
            found=f"{wish.force:.4g} N",
        )

    def excess(lift: Floats) -> Floats:
        return np.asarray(valve.gap(lift).flow(np.full_like(lift, under), fluid) - under_shims)

    widest = 0.5 * face.seat_diameter
    if float(excess(np.array([widest]))[0]) < 0.0:
        raise ValidityError(
            f"no stack gives this force at {wish.velocity:g} m/s: the ports alone need more",
            parameter="wish",
            found=f"{wish.force:.4g} N",
        )
    lift = float(increasing_root(excess, np.array([1e-6]), np.array([widest]))[0])
    return _Point(0.1 * under * float(valve.pressed_area(np.array([lift]))[0]), lift)


class _Search:
    """Beam search over how many of each kind are taken."""

    def __init__(self, drawer: Sequence[Kind], stack: Stack, model: DampingModel, most_shims: int) -> None:
        clamp, face = stack.clamp_diameter, stack.face.outer_diameter
        seat = model.valve.face.seat_diameter
        usable = [kind for kind in drawer if clamp < kind.outer_diameter <= face + 1e-9 and kind.count > 0]
        # Largest first, and among equal diameters the thinnest first: the order in which they are stacked.
        self.kinds = sorted(usable, key=lambda kind: (-kind.outer_diameter, kind.thickness))
        self.covers = np.array([kind.outer_diameter >= seat - 1e-9 for kind in self.kinds], dtype=bool)
        if not self.covers.any():
            raise InputError(
                "holds no shim that covers the seat and fits in place of the face shim",
                parameter="drawer",
                allowed=f"outer diameter {seat:g} to {face:g} mm",
            )
        self.clamp = clamp
        self.model = model
        self.most = most_shims
        self.limits = np.array([kind.count for kind in self.kinds])
        self._diameters = np.array([kind.outer_diameter for kind in self.kinds])
        self._given = self._counts_of(stack)
        self._stand_in = _StandIn(self.kinds, clamp, model.valve.face.window, seat)

    def run(self, points: Sequence[_Point]) -> list[Counts]:
        """Counts of the stacks that come nearest to the points by the real model, best first."""
        main = max(points, key=lambda point: point.load)
        target = np.log(main.load / main.lift)
        bias = 0.0
        measured: dict[tuple[int, ...], tuple[float, Counts]] = {}
        for _ in range(_ROUNDS):
            beam, stiffness = self._beam(target - bias)
            fresh = [i for i in range(len(beam)) if tuple(beam[i].tolist()) not in measured][:_CHECKED]
            if not fresh:
                break
            offsets = []
            for index in fresh:
                error, real = self._measure(beam[index], points, main)
                measured[tuple(beam[index].tolist())] = error, beam[index]
                offsets.append(real - stiffness[index])
            bias = float(np.median(offsets))
        if not measured:
            raise NoSolutionError("no stack can be built from this drawer", parameter="drawer")
        ranked = sorted(measured.items(), key=lambda item: (item[1][0], item[0]))
        return [counts for _, (_, counts) in ranked]

    def stack_of(self, counts: Counts) -> Stack:
        """The stack that a count of each kind makes."""
        parts = [
            Part("shim", kind.outer_diameter, kind.thickness, int(count), None, row)
            for row, (kind, count) in enumerate(zip(self.kinds, counts.tolist(), strict=True), start=1)
            if count
        ]
        return Stack(tuple(parts), self.clamp)

    def _measure(self, counts: Counts, points: Sequence[_Point], main: _Point) -> tuple[float, float]:
        """Error of the lifts by the real model, and the logarithm of the real secant stiffness."""
        face = self.model.valve.face
        model = StackModel(
            self.stack_of(counts), face.seat_diameter, seat_height=face.seat_height, window=face.window
        )
        lifts = model.lift(model.states([point.load for point in points])) - face.seat_height
        lifts = np.maximum(lifts, 1e-6)
        wanted = np.array([point.lift for point in points])
        error = float(np.sqrt(np.mean(np.log(lifts / wanted) ** 2)))
        real = float(np.log(main.load / lifts[list(points).index(main)]))
        return error, real

    def _beam(self, target: float) -> tuple[Counts, Floats]:
        """Stacks whose stand-in stiffness is nearest to a target (logarithm), best first."""
        beam = self._starts()
        scores, stiffness = self._score(beam, target)
        for _ in range(3 * self.most):
            pool = np.unique(np.concatenate([beam, self._neighbours(beam)]), axis=0)
            pool_scores, pool_stiffness = self._score(pool, target)
            order = np.argsort(pool_scores, kind="stable")[:_BEAM]
            if np.array_equal(pool[order], beam):
                break
            beam, scores, stiffness = pool[order], pool_scores[order], pool_stiffness[order]
        kept = np.isfinite(scores)
        return beam[kept], stiffness[kept]

    def _starts(self) -> Counts:
        singles = np.diag(np.ones(len(self.kinds), dtype=np.intp))[self.covers]
        starts = [singles]
        if self._given.any():
            starts.append(np.minimum(self._given, self.limits)[None, :])
        return np.unique(np.concatenate(starts), axis=0)

    def _neighbours(self, beam: Counts) -> Counts:
        """All stacks that differ by one shim added, taken away, or swapped for another."""
        one = np.eye(len(self.kinds), dtype=np.intp)
        swaps = (one[:, None, :] - one[None, :, :]).reshape(-1, len(self.kinds))
        moves = np.unique(np.concatenate([one, -one, swaps]), axis=0)
        found = (beam[:, None, :] + moves[None, :, :]).reshape(-1, len(self.kinds))
        total = found.sum(axis=1)
        fits = (found >= 0).all(axis=1) & (found <= self.limits).all(axis=1)
        kept: Counts = found[fits & (total >= 1) & (total <= self.most)]
        return kept

    def _score(self, stacks: Counts, target: float) -> tuple[Floats, Floats]:
        stiffness = np.log(self._stand_in.stiffness(stacks))
        changed = np.abs(stacks - self._given).sum(axis=1)
        score = np.abs(stiffness - target) + _KEEP * changed
        return np.where(self._sensible(stacks), score, np.inf), stiffness

    def _sensible(self, stacks: Counts) -> NDArray[np.bool_]:
        """Whether the face shim covers the seat and diameters fall in moderate steps to the clamp."""
        used = stacks > 0
        covered = (used & self.covers).any(axis=1)
        # Diameter of the next used shim after each one, the clamp after the last.
        step = np.full(stacks.shape, 0.0)
        following = np.full(len(stacks), self.clamp)
        largest = np.max(np.where(used, self._diameters, 0.0), axis=1)
        for column in range(stacks.shape[1] - 1, -1, -1):
            here = used[:, column]
            step[:, column] = np.where(here, self._diameters[column] - following, 0.0)
            following = np.where(here, self._diameters[column], following)
        pieces = stacks.sum(axis=1)
        gentle = step.max(axis=1) <= _LARGEST_STEP * (largest - self.clamp) + 1e-9
        result: NDArray[np.bool_] = covered & (gentle | (pieces <= 2))
        return result

    def _counts_of(self, stack: Stack) -> Counts:
        counts = np.zeros(len(self.kinds), dtype=np.intp)
        for _, part in stack.pieces():
            for index, kind in enumerate(self.kinds):
                same = abs(kind.outer_diameter - part.outer_diameter) + abs(kind.thickness - part.thickness)
                if part.kind == "shim" and same < 1e-6:
                    counts[index] += 1
        return counts


class _StandIn:
    """Stiffness of one plate whose rigidity steps down where shims end, for many stacks at once.

    As if all shims that reach a radius bent together there; too stiff for tapers, but in
    the right order. Each step is crossed with the closed form of an annulus.
    """

    def __init__(self, kinds: Sequence[Kind], clamp: float, window: tuple[float, float], seat: float) -> None:
        self._load = 0.25 * (window[0] + window[1])
        self._seat = 0.5 * seat
        radii = {0.5 * kind.outer_diameter for kind in kinds} | {self._load, self._seat}
        edges = [0.5 * clamp, *sorted(radii)]
        # Finer pieces only serve the sum of the slopes.
        pieces = [np.linspace(a, b, 5)[:-1] for a, b in itertools.pairwise(edges)]
        self._radii = np.concatenate([*pieces, [edges[-1]]])
        middle = 0.5 * (self._radii[1:] + self._radii[:-1])
        rigidity = np.array([flexural_rigidity(kind.thickness) for kind in kinds])
        reach = np.array([0.5 * kind.outer_diameter for kind in kinds])[:, None] >= middle
        self._rigidity = rigidity[:, None] * reach

    def stiffness(self, stacks: Counts) -> Floats:
        """Load over deflection at the seat for a load at the middle of the port window [N/mm], shape (n,)."""
        rigidity = np.maximum(stacks @ self._rigidity, 1e-9)
        slopes = np.zeros((2, len(stacks)))
        moments = np.zeros((2, len(stacks)))
        moments[1] = 1.0  # second row: no load, but a unit moment at the clamp
        lift = np.zeros((2, len(stacks)))
        shear = np.array([[1.0 / (2.0 * np.pi)], [0.0]])
        for index, (inner, outer) in enumerate(itertools.pairwise(self._radii)):
            stiff = rigidity[:, index]
            load = shear if outer <= self._load + 1e-12 else np.zeros((2, 1))
            laplacian = moments / stiff + (1.0 - POISSON) * slopes / inner
            log = np.log(outer / inner)
            square = outer**2 - inner**2
            turned = inner * slopes + 0.5 * laplacian * square
            turned = (turned - load / stiff * (0.5 * outer**2 * log - 0.25 * square)) / outer
            if outer <= self._seat + 1e-12:
                lift += 0.5 * (slopes + turned) * (outer - inner)
            slopes = turned
            moments = stiff * (laplacian - load / stiff * log - (1.0 - POISSON) * slopes / outer)
        # The edge is free: the moment at the clamp is what makes the one there vanish.
        share = -moments[0] / moments[1]
        stiffness: Floats = 1.0 / np.maximum(lift[0] + share * lift[1], 1e-12)
        return stiffness


def _finished(stack: Stack, model: DampingModel, fluid: Fluid, wishes: Sequence[Wish]) -> Match:
    table = LiftTable(stack, model.valve.face)
    build = model.with_table(table)
    curve = build.curve([wish.velocity for wish in wishes], fluid)
    forces = curve.force.tolist()
    off = [force / wish.force - 1.0 for force, wish in zip(forces, wishes, strict=True)]
    ratio = worst_stress(table.model, float(curve.load.max()), ENDURANCE_LIMIT).ratio
    return Match(stack, tuple(forces), float(np.sqrt(np.mean(np.square(off)))), ratio)
