"""What a stack means in plain terms: equal stiffness, tolerance bands, stress ratio, findings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from typing import Literal

from dampcell.functions.checks import check_not_negative, check_positive
from dampcell.functions.errors import InputError, ValidityError
from dampcell.functions.plates import MODULUS, POISSON, plate_stiffness
from dampcell.functions.stacks import ENDURANCE_LIMIT, Part, Stack, StackModel, Theory

__all__ = [
    "Band",
    "Finding",
    "Worst",
    "equivalent_shims",
    "equivalent_thickness",
    "findings",
    "secant_stiffness",
    "tolerance_bands",
    "worst_stress",
]

_TYPICAL_TOLERANCE = 0.005
"""Thickness tolerance of thin precision strip [mm]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Band:
    """Lowest, nominal and highest value within tolerances."""

    low: float
    nominal: float
    high: float


@dataclass(frozen=True, slots=True)
class Worst:
    """The most stressed piece: number from the face, surface stress [MPa], stress over limit [-]."""

    number: int
    stress: float
    ratio: float


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark on a stack; a fault has to be mended, a note is worth knowing."""

    level: Literal["fault", "note"]
    sentence: str


def secant_stiffness(load: float, lift: float) -> float:
    """Load over lift [N/mm].

    Parameters
    ----------
    load : float
        Load [N].
    lift : float
        Lift at that load [mm].

    Returns
    -------
    float

    Raises
    ------
    ValidityError
        If the load does not lift the stack.
    """
    if not lift > 1e-9:
        raise ValidityError("the load does not lift the face shim off its seat", parameter="load", found=load)
    return load / lift


def equivalent_thickness(
    stack: Stack, load_diameter: float, load: float = 0.0, *, poisson: float = POISSON
) -> float:
    """Thickness of one shim of the face diameter that is as stiff as the stack.

    Parameters
    ----------
    stack : Stack
        Parts and clamp.
    load_diameter : float
        Load circle [mm].
    load : float
        Load at which they are compared, 0 for the start of the lift [N].
    poisson : float
        Poisson's ratio [-].

    Returns
    -------
    float
        Thickness [mm]; small-lift theory.

    Raises
    ------
    InputError
        As for `StackModel`.

    Notes
    -----
    The stiffness of one plate goes with the cube of its thickness.
    """
    shims = equivalent_shims(stack, load_diameter, load, poisson=poisson)
    return float(stack.face.thickness * shims ** (1.0 / 3.0))


def equivalent_shims(
    stack: Stack, load_diameter: float, load: float = 0.0, *, poisson: float = POISSON
) -> float:
    """Number of face shims that are together as stiff as the stack; see `equivalent_thickness`.

    Returns
    -------
    float
        Number, in general not whole [-].
    """
    model = StackModel(stack, load_diameter, theory="small", poisson=poisson)
    face = plate_stiffness(
        stack.face.outer_diameter,
        stack.clamp_diameter,
        stack.face.thickness,
        load_diameter=load_diameter,
        poisson=poisson,
    )
    start = max(load, 1e-3)
    return secant_stiffness(start, float(model.lift(model.states(start))[0])) / face


def tolerance_bands(
    stack: Stack,
    load_diameter: float,
    load: float,
    *,
    thickness_tolerance: float = _TYPICAL_TOLERANCE,
    clamp_tolerance: float = 0.0,
    seat_tolerance: float = 0.0,
    theory: Theory = "large",
    modulus: float = MODULUS,
    poisson: float = POISSON,
    seat_height: float = 0.0,
    model: Callable[..., StackModel] = StackModel,
) -> tuple[Band, Band]:
    """Lift and secant stiffness at a load, with all tolerances at their worst together.

    Parameters
    ----------
    stack : Stack
        Parts and clamp.
    load_diameter : float
        Load circle [mm].
    load : float
        Load, above 0 [N].
    thickness_tolerance : float
        Plus/minus on every thickness [mm], 0 or more.
    clamp_tolerance, seat_tolerance : float
        Plus/minus on the clamp and on the load circle [mm], 0 or more.
    theory, modulus, poisson, seat_height
        As for `StackModel`.
    model : callable
        Makes the model of the nominal stack, or remembers it.

    Returns
    -------
    lift, stiffness : Band
        Lift [mm] and load over lift [N/mm].

    Raises
    ------
    InputError
        If a tolerance is negative or as large as a thickness, or as for `StackModel`.
    """
    for name, value in (
        ("thickness_tolerance", thickness_tolerance),
        ("clamp_tolerance", clamp_tolerance),
        ("seat_tolerance", seat_tolerance),
    ):
        check_not_negative(name, value, "mm")
    if seat_tolerance > 0.1 * load_diameter:
        raise InputError(
            "is too large for the load circle",
            parameter="seat_tolerance",
            found=seat_tolerance,
            allowed=f"0 to {0.1 * load_diameter:.3g} mm",
        )
    check_positive("load", load, "N")

    nominal = model(
        stack, load_diameter, theory=theory, modulus=modulus, poisson=poisson, seat_height=seat_height
    )
    states = nominal.states(load)

    def lift(sign: float, spacers: float) -> float:
        change = sign * thickness_tolerance
        shifted = stack.shifted(change, sign * clamp_tolerance, spacers=spacers * change)
        circle = min(load_diameter - sign * seat_tolerance, stack.face.outer_diameter)
        corner = StackModel(
            shifted, circle, theory=theory, modulus=modulus, poisson=poisson, seat_height=seat_height
        )
        return float(corner.lift(corner.states(load, states))[0])

    # A thicker spacer makes a wider gap: whether that softens or stiffens depends on the load.
    corners = product((-1.0, 1.0), (1.0, -1.0) if stack.spacers else (1.0,))
    middle = float(nominal.lift(states)[0])
    lifts = [middle, *(lift(*corner) for corner in corners)]
    stiff, soft = min(lifts), max(lifts)
    stiffness = Band(*(secant_stiffness(load, value) for value in (soft, middle, stiff)))
    return Band(stiff, middle, soft), stiffness


def worst_stress(model: StackModel, load: float, endurance_limit: float = ENDURANCE_LIMIT) -> Worst:
    """Most stressed piece of a stack.

    Parameters
    ----------
    model : StackModel
        The stack under its load.
    load : float
        Load [N], 0 or more.
    endurance_limit : float
        Endurance limit [MPa], > 0; ask the maker of the steel.

    Returns
    -------
    Worst

    Raises
    ------
    InputError
        If the limit is not positive, or as for `StackModel.states`.
    """
    check_positive("endurance_limit", endurance_limit, "MPa")
    number, _, stress = max(model.stresses(load), key=lambda piece: piece[2])
    return Worst(number, stress, stress / endurance_limit)


def findings(
    build: Callable[[], Stack],
    load_diameter: float | None = None,
    load: float | None = None,
    *,
    model: Callable[[Stack, float], StackModel] = StackModel,
) -> list[Finding]:
    """Plain-language remarks on a stack.

    Parameters
    ----------
    build : callable
        Makes the stack; its InputError becomes a finding.
    load_diameter : float, optional
        Load circle [mm], for preload and stress.
    load : float, optional
        Load [N], for range and stress.
    model : callable
        Makes the model of the stack, or remembers it.

    Returns
    -------
    list of Finding
        Faults first; empty if there is nothing to say.
    """
    try:
        stack = build()
        asked = None if load_diameter is None else model(stack, load_diameter)
    except InputError as error:
        return [Finding("fault", str(error))]
    found = [Finding("note", sentence) for sentence in _geometry_notes(stack)]
    if asked is not None:
        opening = asked.opening()
        if opening > 0.0:
            found.append(Finding("note", f"preloaded: the face shim leaves its seat at {opening:.3g} N"))
        if load is not None:
            found.extend(Finding("note", note) for note in asked.notes(asked.states(load)))
            worst = worst_stress(asked, load)
            if worst.ratio > 1.0:
                found.append(
                    Finding(
                        "note",
                        f"piece {worst.number} from the face bears {worst.stress:.0f} MPa at {load:g} N, "
                        f"{worst.ratio:.1f} times a typical endurance limit of {ENDURANCE_LIMIT:.0f} MPa",
                    )
                )
    return found


def _geometry_notes(stack: Stack) -> list[str]:
    notes = []
    shims = [part for part in stack.parts if part.kind == "shim"]
    for above, part in zip(stack.parts[1:], stack.parts, strict=False):
        if part.kind == above.kind == "shim" and above.outer_diameter > part.outer_diameter:
            notes.append(
                f"row {part.row}: a smaller shim ({part.outer_diameter:g} mm) lies before a larger one "
                f"({above.outer_diameter:g} mm) and leaves a gap of {part.height:g} mm: two-stage stack"
            )
    for ring, centering in _rings(stack):
        over = ring.height - centering.height
        if abs(over) < 1e-9:
            meaning = "as thick as its centering shim: no preload"
        elif over > 0.0:
            meaning = f"{over:.3g} mm thicker than its centering shim and preloads the face shim"
        else:
            meaning = f"{-over:.3g} mm thinner than its centering shim and loose until the stack has lifted"
        notes.append(f"row {ring.row}: the ring is {meaning}")
    thin = min(shims, key=lambda part: part.thickness)
    share = ((thin.thickness + _TYPICAL_TOLERANCE) / thin.thickness) ** 3 - 1.0
    if share > 0.1:
        notes.append(
            f"row {thin.row}: {_TYPICAL_TOLERANCE * 1e3:.0f} µm more on {thin.thickness:g} mm make this shim "
            f"{share:.0%} stiffer: measure the thickness"
        )
    return notes


def _rings(stack: Stack) -> list[tuple[Part, Part]]:
    pairs = []
    for first, second in zip(stack.parts, stack.parts[1:], strict=False):
        if {first.kind, second.kind} == {"ring", "centering"}:
            pairs.append((first, second) if first.kind == "ring" else (second, first))
    return pairs
