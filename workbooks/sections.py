"""Cross-sections of shim stacks: half sections with radii to scale and thicknesses exaggerated.

Thicknesses of a tenth of a millimetre could not be seen at the scale of the
radii, so all heights of a report are drawn larger by one stated factor.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dampcell.workbooks.plots import spread

__all__ = ["Layer", "SectionScale", "layers_of", "pieces_of", "section_layout"]

ParsedRow = Mapping[str, float | str | None]
"""One row of a stack as the registry's table layout gives it back."""

FACTORS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
"""Factors for thickness that a reader can undo in the head."""

_CLAMP_THICKNESS = 0.3
"""Thickness at which a clamp is drawn whose thickness nobody wrote down [mm]: only its diameter matters."""

_TALLEST = 1.7
_PISTON_HEIGHT = 5.0
_LABEL_STEP = 3.3
_HEAD_ROOM = 1.5


@dataclass(frozen=True, slots=True)
class Layer:
    """One piece of the stack, flat and unloaded.

    Parameters
    ----------
    part : text
        shim, ring, centering or clamp.
    inner_radius, outer_radius : float
        Radii [mm].
    bottom, thickness : float
        Height of its lower face over the piston's hub, and thickness [mm].
    row : int
        Row of the stack table from which it comes, from 0.
    """

    part: str
    inner_radius: float
    outer_radius: float
    bottom: float
    thickness: float
    row: int


@dataclass(frozen=True, slots=True)
class SectionScale:
    """The scale that all cross-sections of one report share.

    Parameters
    ----------
    radius_scale : float
        Millimetres on paper per millimetre of radius [-].
    factor : float
        How much larger thicknesses are drawn than radii [-].
    height : float
        Height of each picture on paper [mm].
    label_at : float
        Where the labels begin on paper, from the centre line [mm].
    """

    radius_scale: float
    factor: float
    height: float
    label_at: float

    @classmethod
    def fitting(cls, stacks: Sequence[Sequence[Layer]], *, width: float, label_width: float) -> SectionScale:
        """Choose the scale at which the widest and the tallest stack fit.

        Parameters
        ----------
        stacks : sequence of layers
            All stacks of the report.
        width : float
            Width of one picture with its labels on paper [mm].
        label_width : float
            Part of that width for the labels [mm].

        Returns
        -------
        SectionScale
        """
        widest = max(layer.outer_radius for stack in stacks for layer in stack)
        tallest = max(layer.bottom + layer.thickness for stack in stacks for layer in stack)
        label_at = width - label_width
        radius_scale = (label_at - 4.0) / widest
        fitting = [factor for factor in FACTORS if tallest * factor <= _TALLEST * widest]
        factor = fitting[-1] if fitting else FACTORS[0]
        most_rows = max(len({layer.row for layer in stack}) for stack in stacks)
        height = max(tallest * factor * radius_scale, most_rows * _LABEL_STEP) + _PISTON_HEIGHT + _HEAD_ROOM
        return cls(radius_scale, factor, round(height, 2), round(label_at, 2))


def pieces_of(rows: Sequence[ParsedRow]) -> float:
    """Count the parts of a stack, shims of one row singly [-]; a slip of the pen makes it astronomic."""
    return sum(max(1.0, _number(row.get("quantity"))) for row in rows)


def layers_of(rows: Sequence[ParsedRow]) -> tuple[Layer, ...]:
    """Pile the rows of a stack up, from the piston face to the clamp.

    Parameters
    ----------
    rows : sequence of parsed rows
        Part, outer diameter [mm], thickness [mm], quantity [-], inner diameter [mm].

    Returns
    -------
    tuple of Layer
        A ring lies beside its centering shim, on the same lower face; where it
        is thicker it reaches into the next shim, which is its preload.
    """
    layers: list[Layer] = []
    height = 0.0
    for index, row in enumerate(rows):
        part = str(row["part"])
        thickness = _number(row["thickness"]) or _CLAMP_THICKNESS
        outer = _number(row["outer_diameter"]) / 2
        inner = _number(row.get("inner_diameter")) / 2
        if part == "ring":
            # A ring named after its centering shim starts where that one starts.
            before = layers[-1] if layers and layers[-1].part == "centering" else None
            bottom = before.bottom if before is not None else height
            layers.append(Layer(part, inner, outer, bottom, thickness, index))
            continue
        for _ in range(max(1, round(_number(row.get("quantity")) or 1))):
            layers.append(Layer(part, inner, outer, height, thickness, index))
            height += thickness
    return tuple(layers)


def section_layout(
    name: str,
    rows: Sequence[ParsedRow],
    scale: SectionScale,
    *,
    load_diameter: float | None = None,
    window: tuple[float, float] | None = None,
    notes: Sequence[str] = (),
) -> dict[str, object]:
    """Compute what the page layout draws for one stack.

    Parameters
    ----------
    name : text
        Name of the build.
    rows : sequence of parsed rows
        The stack.
    scale : SectionScale
        Common scale of the report's pictures.
    load_diameter : float, optional
        Diameter of the seat, where the load acts [mm].
    window : pair of float, optional
        Inner and outer diameter of the port window [mm].
    notes : sequence of text
        Sentences below the picture.

    Returns
    -------
    dict
        Parts, labels and marks in millimetres on paper, from the lower left corner.
    """
    layers = layers_of(rows)
    across, up = scale.radius_scale, scale.radius_scale * scale.factor
    edge = max(layer.outer_radius for layer in layers)
    parts = [_part("piston", 0.0, (edge + 0.5) * across, 0.0, _PISTON_HEIGHT)]
    if window is not None:
        parts.append(_part("port", window[0] / 2 * across, window[1] / 2 * across, 0.0, _PISTON_HEIGHT))
    bore = min((layer.inner_radius for layer in layers if layer.part != "ring"), default=0.0)
    if bore > 0:
        parts.append(_part("shaft", 0.0, bore * across, 0.0, scale.height - _HEAD_ROOM / 2))
    # Rings last, so that the overlap that becomes preload can be seen.
    for layer in sorted(layers, key=lambda layer: layer.part == "ring"):
        bottom = _PISTON_HEIGHT + layer.bottom * up
        parts.append(
            _part(
                layer.part,
                layer.inner_radius * across,
                layer.outer_radius * across,
                bottom,
                bottom + layer.thickness * up,
            )
        )
    marks = (
        []
        if load_diameter is None
        else [{"x": _paper(load_diameter / 2 * across), "y": _PISTON_HEIGHT - 3.6}]
    )
    return {
        "name": name,
        "height": scale.height,
        "parts": parts,
        "labels": _labels(layers, rows, scale),
        "marks": marks,
        "notes": list(notes),
    }


def _labels(
    layers: Sequence[Layer], rows: Sequence[ParsedRow], scale: SectionScale
) -> list[dict[str, object]]:
    across, up = scale.radius_scale, scale.radius_scale * scale.factor
    wanted: list[tuple[float, float, int]] = []
    for index in range(len(rows)):
        own = [layer for layer in layers if layer.row == index]
        low = min(layer.bottom for layer in own)
        high = max(layer.bottom + layer.thickness for layer in own)
        wanted.append((_PISTON_HEIGHT + (low + high) / 2 * up, own[0].outer_radius * across, index))
    places = spread([place for place, _, _ in wanted], _LABEL_STEP)
    # Labels stay inside the picture even when many thin rows crowd at the bottom.
    lift = max(0.0, 1.5 - min(places))
    return [
        {
            "text": row_text(rows[index]),
            "strong": rows[index]["part"] == "ring",
            "x": _paper(edge),
            "from": _paper(place),
            "at": _paper(at + lift),
            "to": scale.label_at,
        }
        for (place, edge, index), at in zip(wanted, places, strict=True)
    ]


def row_text(row: ParsedRow) -> str:
    """Write a row as the workshop says it: pieces × outer diameter × thickness."""
    quantity = max(1, round(_number(row.get("quantity")) or 1))
    thickness = _number(row["thickness"])
    # 0.125 keeps its third decimal; 0.1 is written 0.10 as on the packet.
    shown = f"{thickness:.2f}" if abs(thickness - round(thickness, 2)) < 1e-9 else f"{thickness:g}"
    size = f"{_number(row['outer_diameter']):g}" + (f" × {shown}" if thickness else "")
    count = f"{quantity} × " if quantity > 1 else ""
    part = str(row["part"])
    return f"{count}{size}" if part == "shim" else f"{part} {count}{size}"


def _part(kind: str, left: float, right: float, low: float, high: float) -> dict[str, object]:
    return {
        "kind": kind,
        "x": _paper(left),
        "y": _paper(low),
        "width": _paper(right - left),
        "height": _paper(high - low),
    }


def _number(value: float | str | None) -> float:
    return float(value) if value is not None else 0.0


def _paper(value: float) -> float:
    return round(value, 3)


__all__ += ["row_text"]
