"""A shim stack: its parts, and its lift, stiffness, opening load and stress.

A stack is described from the piston face outward to the clamp. All shims are
held together at the clamp; they touch one-sided and without friction. Gaps left
by smaller shims, preload by a ring that is thicker than its centering shim, and
a seat above the hub all follow from the geometry.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, cast

import numpy as np
from numpy.typing import ArrayLike

from dampcell.functions.bending import AXISYMMETRIC_LIMIT
from dampcell.functions.checks import check_not_negative
from dampcell.functions.contact import Contacts
from dampcell.functions.errors import InputError
from dampcell.functions.layers import Layer, Source
from dampcell.functions.plates import MODULUS, POISSON, Floats, check_load_circle, flexural_rigidity
from dampcell.functions.states import States

__all__ = [
    "ENDURANCE_LIMIT",
    "Part",
    "Stack",
    "StackModel",
    "Theory",
    "stack_from_rows",
]

Theory = Literal["large", "small"]

ENDURANCE_LIMIT = 700.0
"""Endurance limit of hardened spring-steel strip [MPa]; typical, from memory: use the maker's value."""

BEYOND = (
    "beyond the axisymmetric range: a shim lifts more than twice its thickness at the edge, where it goes "
    "wavy and stiffens no further; read the value as a trend"
)

_MOST_KNOWN = 64  # single loads whose state a model remembers
_TOUCH = 1e-3  # load [N] under which the contacts of a flat stack show

Kind = Literal["shim", "ring", "centering", "clamp"]


@dataclass(frozen=True, slots=True)
class Part:
    """Equal pieces at one place of a stack.

    Parameters
    ----------
    kind : {"shim", "ring", "centering", "clamp"}
        A ring lies loose around the centering shim of the same layer.
    outer_diameter, thickness : float
        Dimensions of one piece [mm].
    quantity : int
        Number of pieces [-].
    inner_diameter : float or None
        Bore [mm]; needed for a ring.
    row : int
        Row of the table it came from, for messages.
    """

    kind: Kind
    outer_diameter: float
    thickness: float
    quantity: int = 1
    inner_diameter: float | None = None
    row: int = 0

    @property
    def height(self) -> float:
        """Thickness of all pieces together [mm]."""
        return self.thickness * self.quantity


@dataclass(frozen=True, slots=True)
class Stack:
    """Parts from the piston face outward, and the clamp that ends them."""

    parts: tuple[Part, ...]
    clamp_diameter: float

    @property
    def face(self) -> Part:
        """The shim on the piston face."""
        return self.parts[0]

    @property
    def spacers(self) -> frozenset[int]:
        """Indices of parts that hold others apart: centering shims, and shims before a larger one."""
        return frozenset(
            index
            for index, part in enumerate(self.parts)
            if part.kind == "centering"
            or any(later.outer_diameter > part.outer_diameter for later in self.parts[index + 1 :])
        )

    def shifted(self, thickness: float, clamp: float, *, spacers: float | None = None) -> Stack:
        """The same stack with thicknesses and the clamp diameter changed by so much.

        Parameters
        ----------
        thickness : float
            Change of every thickness [mm].
        clamp : float
            Change of the clamp diameter [mm].
        spacers : float, optional
            Change of the thickness of `spacers` [mm]; as the others if left out.

        Returns
        -------
        Stack

        Raises
        ------
        InputError
            If a thickness would not stay above half of what it is, or the clamp would leave the shims.
        """
        thinnest = min(part.thickness for part in self.parts)
        apart = thickness if spacers is None else spacers
        if max(abs(thickness), abs(apart)) > 0.5 * thinnest:
            raise InputError(
                "is too large for the thinnest shim",
                parameter="thickness_tolerance",
                found=max(abs(thickness), abs(apart)),
                allowed=f"0 to {0.5 * thinnest:.3g} mm",
            )
        if abs(clamp) > 0.1 * self.clamp_diameter:
            raise InputError(
                "is too large for the clamp",
                parameter="clamp_tolerance",
                found=abs(clamp),
                allowed=f"0 to {0.1 * self.clamp_diameter:.3g} mm",
            )
        narrowest = min(part.outer_diameter for part in self.parts if part.kind == "shim")
        if self.clamp_diameter + clamp >= narrowest:
            raise InputError(
                "is too large for the smallest shim",
                parameter="clamp_tolerance",
                found=abs(clamp),
                allowed=f"below {narrowest - self.clamp_diameter:.3g} mm",
            )
        parts = tuple(
            replace(part, thickness=part.thickness + (apart if index in self.spacers else thickness))
            for index, part in enumerate(self.parts)
        )
        return replace(self, parts=parts, clamp_diameter=self.clamp_diameter + clamp)

    def pieces(self) -> list[tuple[int, Part]]:
        """Number and part of every single shim, ring and centering, from the face, numbered from 1."""
        singles = [part for part in self.parts for _ in range(part.quantity)]
        return list(enumerate(singles, start=1))


def stack_from_rows(rows: Iterable[Mapping[str, float | str | None]]) -> Stack:
    """Build a stack from parsed table rows.

    Parameters
    ----------
    rows : iterable of mapping
        Keys part, outer_diameter [mm], thickness [mm], quantity [-],
        inner_diameter [mm] and row, from the piston face outward to the clamp.

    Returns
    -------
    Stack

    Raises
    ------
    InputError
        Naming the row: no clamp, parts beyond it, a shim not larger than the
        clamp, a ring without centering shim, a dimension out of range.
    """
    parts = [_part(row) for row in rows]
    clamps = [part for part in parts if part.kind == "clamp"]
    if not clamps:
        raise InputError(
            'has no clamp row: end the stack with "clamp" and the clamp diameter', parameter="stack"
        )
    if parts[-1].kind != "clamp" or len(clamps) > 1:
        raise InputError("the clamp must be the last row, and the only clamp", parameter=_at(clamps[0]))
    clamp = clamps[0].outer_diameter
    body = parts[:-1]
    if not body:
        raise InputError("has no shim before the clamp", parameter="stack")
    if body[0].kind != "shim":
        raise InputError(
            "the first row must be the face shim", parameter=_at(body[0]), found=body[0].kind, allowed="shim"
        )
    for part in body:
        _check_against_clamp(part, clamp)
    _pair_rings(body)
    return Stack(tuple(body), clamp)


class StackModel:
    """A stack under one kind of load, ready to be asked.

    Parameters
    ----------
    stack : Stack
        Parts and clamp.
    load_diameter : float
        Circle of the load, and of the seat unless seat_diameter is given [mm].
    modulus : float
        Modulus of elasticity [GPa].
    poisson : float
        Poisson's ratio [-].
    seat_height : float
        Height of the seat over the hub [mm], 0 or more.
    theory : {"large", "small"}
        Whether shims stiffen with their lift.
    window : (inner, outer) diameters, optional
        If given, the load is a uniform pressure over this ring of the face shim [mm].

    Raises
    ------
    InputError
        If the load circle or window is not on the face shim, or the seat height is negative.

    Notes
    -----
    Large lift: every shim's rigidity grows with its own lift by the ratio of
    membrane to bending energy of its shape, limited where the lift passes twice
    the thickness (`bending.AXISYMMETRIC_LIMIT`).
    """

    def __init__(
        self,
        stack: Stack,
        load_diameter: float,
        *,
        modulus: float = MODULUS,
        poisson: float = POISSON,
        seat_height: float = 0.0,
        theory: Theory = "large",
        window: tuple[float, float] | None = None,
    ) -> None:
        check_load_circle(load_diameter, stack.clamp_diameter, stack.face.outer_diameter)
        if not 0.0 <= seat_height <= 5.0:
            raise InputError(
                "is out of range", parameter="seat_height", found=seat_height, allowed="0 to 5 mm"
            )
        if window is not None:
            _check_window(window, stack)
        self.stack = stack
        self.load_diameter = load_diameter
        self.modulus = modulus
        self.poisson = poisson
        self.large = theory == "large"
        self._opening: float | None = None
        self._known: dict[float, States] = {}
        radius = 0.5 * load_diameter
        source = Source.ring(radius) if window is None else Source.window(0.5 * window[0], 0.5 * window[1])
        self._contacts = Contacts(
            _layers(stack, modulus, poisson),
            source,
            seat_radius=radius,
            seat_height=seat_height,
            poisson=poisson,
        )

    def states(self, loads: ArrayLike, start: States | None = None) -> States:
        """Equilibrium at each load.

        Parameters
        ----------
        loads : array_like, shape (n,)
            Loads [N], 0 or more.
        start : States, optional
            States at neighbouring loads, or of a stack that hardly differs, to start from.

        Returns
        -------
        States

        Raises
        ------
        InputError
            If a load is negative.
        NoSolutionError
            If the solver does not settle.
        """
        wanted = np.atleast_1d(np.asarray(loads, dtype=float))
        if not np.all(wanted >= 0.0):
            raise InputError(
                "must not be negative", parameter="load", found=float(wanted.min()), allowed="0 N or more"
            )
        if start is not None or wanted.size != 1:
            return self._contacts.solve(wanted, large=self.large, start=start)
        # Several questions are mostly asked about the same load: the answer is that of the first time.
        load = float(wanted[0])
        known = self._known.get(load)
        if known is None:
            known = self._contacts.solve(wanted, large=self.large)
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            self._known[load] = known
        return known

    def lift(self, states: States, at_diameter: float | None = None) -> Floats:
        """Lift of the face shim above its flat position.

        Parameters
        ----------
        states : States
            From `states`.
        at_diameter : float, optional
            Where it is read [mm]; the load circle if left out.

        Returns
        -------
        ndarray, shape (n,)
            Lift [mm].

        Raises
        ------
        InputError
            If at_diameter is not on the free part of the face shim.
        """
        read = self.load_diameter if at_diameter is None else at_diameter
        low, high = self.stack.clamp_diameter, self.stack.face.outer_diameter
        if not low <= read <= high:
            raise InputError(
                "is not on the face shim",
                parameter="at_diameter",
                found=read,
                allowed=f"{low:g} to {high:g} mm",
            )
        return self._contacts.lift(states, 0.5 * read)

    def opening(self) -> float:
        """Load at which the face shim leaves its seat [N], 0 if nothing presses it down.

        Raises
        ------
        NoSolutionError
            If the solver does not settle.
        """
        if self._opening is None:
            self._opening = max(0.0, self._contacts.opening(large=self.large))
        return self._opening

    def stiffness(self, states: States) -> Floats:
        """Tangent stiffness at the load circle.

        Parameters
        ----------
        states : States
            From `states`.

        Returns
        -------
        ndarray, shape (n,)
            Stiffness [N/mm]; infinite while the face shim is held on its seat.

        Raises
        ------
        NoSolutionError
            If the solver does not settle.
        """
        # At no load at all a flat stack is about to lift; its contacts show under the least load.
        loads = np.maximum(states.loads, _TOUCH)
        lifting = self.states(loads, states) if np.any(states.loads < _TOUCH) else states
        rate = self._contacts.compliance(lifting, 0.5 * self.load_diameter, large=self.large)
        # On the seat the lift does not change.
        result: Floats = np.full(len(rate), np.inf)
        np.divide(1.0, rate, out=result, where=~lifting.seated)
        return result

    def notes(self, states: States) -> tuple[str, ...]:
        """What has to be told with these states: whether a shim lifts beyond the axisymmetric range."""
        return (BEYOND,) if bool(np.any(self.edge_ratio(states) > AXISYMMETRIC_LIMIT)) else ()

    def edge_ratio(self, states: States) -> Floats:
        """Largest edge lift over thickness of any shim [-], shape (n,)."""
        return self._contacts.edge_ratio(states)

    def stresses(self, load: float) -> list[tuple[int, Part, float]]:
        """Number from the face, part and largest surface stress [MPa] of every piece at a load [N]."""
        layers = self._contacts.stresses(self.states(load), self.modulus, large=self.large)
        plates = [float(plate[0]) for layer in layers for plate in layer]
        return [
            (number, part, stress)
            for (number, part), stress in zip(_plate_pieces(self.stack), plates, strict=True)
        ]


def _part(row: Mapping[str, float | str | None]) -> Part:
    number = int(float(row["row"] or 0))
    place = f"stack row {number}"
    kind = cast("Kind", row["part"])
    outer = _dimension(row, "outer_diameter", place)
    if kind == "clamp":
        # Of the clamp only the diameter matters: it holds everything within.
        return Part(kind, outer, 0.0, 1, None, number)
    thickness = _dimension(row, "thickness", place)
    if row["quantity"] is None:
        raise InputError("quantity is missing or 0", parameter=place, allowed="1 or more pieces")
    quantity = float(row["quantity"])
    if quantity != int(quantity) or not 1 <= quantity <= 100:
        raise InputError(
            "must be a whole number of pieces",
            parameter=f"{place}, quantity",
            found=quantity,
            allowed="1 to 100",
        )
    inner = row["inner_diameter"]
    return Part(kind, outer, thickness, int(quantity), None if inner is None else float(inner), number)


def _dimension(row: Mapping[str, float | str | None], name: str, place: str) -> float:
    value = row[name]
    if value is None:
        raise InputError(
            f"{name.replace('_', ' ')} is missing or 0", parameter=place, allowed="a number in mm"
        )
    assert isinstance(value, float)
    limit = {"outer_diameter": 200.0, "thickness": 10.0}[name]
    if not 0.0 < value <= limit:
        raise InputError(
            "is out of range",
            parameter=f"{place}, {name.replace('_', ' ')}",
            found=value,
            allowed=f"above 0, up to {limit:g} mm",
        )
    return value


def _check_against_clamp(part: Part, clamp: float) -> None:
    if part.kind == "shim" and not part.outer_diameter > clamp:
        raise InputError(
            "a shim must be larger than the clamp",
            parameter=f"{_at(part)}, outer diameter",
            found=part.outer_diameter,
            allowed=f"above {clamp:g} mm",
        )
    inner = part.inner_diameter
    if part.kind == "ring":
        if inner is None:
            raise InputError("a ring needs its inner diameter", parameter=_at(part), allowed="a number in mm")
        if not clamp <= inner < part.outer_diameter:
            raise InputError(
                "the inner diameter of a ring must lie between the clamp and its outer diameter",
                parameter=f"{_at(part)}, inner diameter",
                found=inner,
                allowed=f"{clamp:g} to below {part.outer_diameter:g} mm",
            )
    elif inner is not None and inner > clamp:
        raise InputError(
            f"the hole of a {part.kind} must not be larger than the clamp that holds it",
            parameter=f"{_at(part)}, inner diameter",
            found=inner,
            allowed=f"up to {clamp:g} mm",
        )


def _pair_rings(body: Sequence[Part]) -> list[tuple[Part, Part | None]]:
    """Layers as (shim or centering, ring or None); a ring and its centering shim are neighbours."""
    layers: list[tuple[Part, Part | None]] = []
    index = 0
    while index < len(body):
        part = body[index]
        if part.kind == "shim":
            layers.append((part, None))
            index += 1
            continue
        other = body[index + 1] if index + 1 < len(body) else None
        if other is None or {part.kind, other.kind} != {"ring", "centering"}:
            missing = "a centering shim" if part.kind == "ring" else "a ring"
            raise InputError(
                f"a {part.kind} needs {missing} in the row before or after it",
                parameter=_at(part),
                allowed="ring and centering next to each other",
            )
        ring, centering = (part, other) if part.kind == "ring" else (other, part)
        assert ring.inner_diameter is not None
        if centering.outer_diameter > ring.inner_diameter:
            raise InputError(
                "the centering shim does not fit into its ring",
                parameter=f"{_at(centering)}, outer diameter",
                found=centering.outer_diameter,
                allowed=f"up to {ring.inner_diameter:g} mm",
            )
        layers.append((centering, ring))
        index += 2
    return layers


def _layers(stack: Stack, modulus: float, poisson: float) -> list[Layer]:
    """Plates that move as one, with their heights."""
    clamp = 0.5 * stack.clamp_diameter
    layers: list[Layer] = []
    height = 0.0

    def plate(part: Part, inner: float, *, loose: bool = False) -> Layer:
        rigidity = flexural_rigidity(part.thickness, modulus, poisson)
        return Layer(
            inner,
            0.5 * part.outer_diameter,
            height,
            (part.thickness,) * part.quantity,
            (rigidity,) * part.quantity,
            loose,
        )

    for held, ring in _pair_rings(stack.parts):
        last = layers[-1] if layers else None
        if (
            ring is None
            and last is not None
            and not last.loose
            and _same(last.outer, 0.5 * held.outer_diameter)
        ):
            more = plate(held, clamp)
            layers[-1] = replace(
                last,
                thicknesses=last.thicknesses + more.thicknesses,
                rigidities=last.rigidities + more.rigidities,
            )
        else:
            if held.outer_diameter > stack.clamp_diameter:
                layers.append(plate(held, clamp))
            if ring is not None:
                assert ring.inner_diameter is not None
                layers.append(plate(ring, 0.5 * ring.inner_diameter, loose=True))
        height += held.height
    return layers


def _plate_pieces(stack: Stack) -> list[tuple[int, Part]]:
    """Single plates in the order in which `_layers` takes them up."""
    numbers = {id(part): [] for part in stack.parts}  # type: dict[int, list[int]]
    for number, part in stack.pieces():
        numbers[id(part)].append(number)
    order = [part for pair in _pair_rings(stack.parts) for part in pair if part is not None]
    return [
        (number, part)
        for part in order
        if part.kind == "ring" or part.outer_diameter > stack.clamp_diameter
        for number in numbers[id(part)]
    ]


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= 1e-9 * one


def _check_window(window: tuple[float, float], stack: Stack) -> None:
    inner, outer = window
    low, high = stack.clamp_diameter, stack.face.outer_diameter
    if not low <= inner < outer <= high:
        raise InputError(
            "the port window must lie on the face shim, between the clamp and its edge",
            parameter="window_inner_diameter, window_outer_diameter",
            found=f"{inner:g} to {outer:g}",
            allowed=f"within {low:g} to {high:g} mm",
        )


def _at(part: Part) -> str:
    return f"stack row {part.row}"


def pressure_load(pressure: float, window: tuple[float, float], open_fraction: float = 1.0) -> float:
    """Total load of a pressure over a port window.

    Parameters
    ----------
    pressure : float
        Pressure difference, 0 or more [bar].
    window : (inner, outer)
        Diameters of the port window [mm].
    open_fraction : float
        Open part of the window [-], above 0, up to 1.

    Returns
    -------
    float
        Load [N].

    Raises
    ------
    InputError
        If the pressure is negative, or the open fraction out of range.
    """
    check_not_negative("pressure", pressure, "bar")
    if not 0.0 < open_fraction <= 1.0:
        raise InputError(
            "is out of range", parameter="open_fraction", found=open_fraction, allowed="above 0, up to 1"
        )
    return 0.1 * pressure * open_fraction * 0.25 * np.pi * (window[1] ** 2 - window[0] ** 2)
