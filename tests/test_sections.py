"""Cross-sections: layers pile up as the parts do, to one stated scale."""

from __future__ import annotations

import itertools

import pytest

from dampcell.workbooks.sections import SectionScale, layers_of, pieces_of, row_text, section_layout

Row = dict[str, float | str | None]


def row(
    part: str, outer: float, thickness: float, quantity: float | None = 1, inner: float | None = None
) -> Row:
    return {
        "part": part,
        "outer_diameter": outer,
        "thickness": thickness,
        "quantity": quantity,
        "inner_diameter": inner,
    }


PLAIN = [row("shim", 30, 0.15, 2), row("shim", 20, 0.2), row("clamp", 12, 0.3)]
CENTERING, RING = row("centering", 14, 0.2), row("ring", 28, 0.3, None, 22)


def test_layers_pile_up_from_the_piston_face() -> None:
    found = [(layer.part, layer.outer_radius, round(layer.bottom, 6)) for layer in layers_of(PLAIN)]
    assert found == [("shim", 15, 0), ("shim", 15, 0.15), ("shim", 10, 0.3), ("clamp", 6, 0.5)]


@pytest.mark.parametrize("pair", [[CENTERING, RING], [RING, CENTERING]])
def test_a_ring_lies_beside_its_centering_shim_whichever_row_comes_first(pair: list[Row]) -> None:
    layers = {layer.part: layer for layer in layers_of([row("shim", 30, 0.15), *pair, row("clamp", 12, 0.3)])}
    assert layers["ring"].bottom == layers["centering"].bottom == 0.15
    assert layers["ring"].inner_radius == 11
    assert layers["clamp"].bottom == pytest.approx(0.35)


def test_radii_are_to_scale_and_thicknesses_enlarged_by_the_stated_factor() -> None:
    scale = SectionScale.fitting([layers_of(PLAIN)], width=55, label_width=22)
    drawn = section_layout("as found", PLAIN, scale)
    face = next(part for part in drawn["parts"] if part["kind"] == "shim")  # type: ignore[attr-defined]
    assert face["width"] == pytest.approx(15 * scale.radius_scale, abs=1e-3)
    assert face["height"] == pytest.approx(0.15 * scale.radius_scale * scale.factor, abs=1e-3)


def test_all_pictures_share_the_scale_at_which_the_largest_fits() -> None:
    small = layers_of([row("shim", 16, 0.1), row("clamp", 8, 0.1)])
    scale = SectionScale.fitting([layers_of(PLAIN), small], width=55, label_width=22)
    assert 15 * scale.radius_scale <= 55 - 22
    assert 0.8 * scale.factor * scale.radius_scale <= scale.height


def test_labels_do_not_cover_each_other_and_stay_in_the_picture() -> None:
    rows = [row("shim", 30 - index, 0.1) for index in range(10)] + [row("clamp", 12, 0.3)]
    scale = SectionScale.fitting([layers_of(rows)], width=55, label_width=22)
    places = sorted(label["at"] for label in section_layout("x", rows, scale)["labels"])  # type: ignore[attr-defined]
    assert all(b - a > 3.2 for a, b in itertools.pairwise(places))
    assert places[0] >= 1.4
    assert places[-1] <= scale.height


def test_the_load_and_the_ports_are_marked_where_they_are() -> None:
    scale = SectionScale.fitting([layers_of(PLAIN)], width=55, label_width=22)
    drawn = section_layout("x", PLAIN, scale, load_diameter=26, window=(16, 26))
    assert drawn["marks"][0]["x"] == pytest.approx(13 * scale.radius_scale, abs=1e-3)  # type: ignore[index]
    port = next(part for part in drawn["parts"] if part["kind"] == "port")  # type: ignore[attr-defined]
    assert port["x"] == pytest.approx(8 * scale.radius_scale, abs=1e-3)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (row("shim", 30, 0.15, 3), "3 × 30 × 0.15"),
        (row("shim", 17.5, 0.1), "17.5 × 0.10"),
        (row("shim", 30, 0.125), "30 × 0.125"),
        (RING, "ring 28 × 0.30"),
    ],
)
def test_rows_read_as_the_workshop_says_them(given: Row, expected: str) -> None:
    assert row_text(given) == expected


def test_the_shaft_is_drawn_where_all_bores_are_known() -> None:
    bored = [row("shim", 30, 0.15, 1, 8), row("clamp", 12, 0.3, 1, 8)]
    scale = SectionScale.fitting([layers_of(bored)], width=55, label_width=22)
    parts = {part["kind"]: part for part in section_layout("x", bored, scale)["parts"]}  # type: ignore[attr-defined]
    assert parts["shaft"]["width"] == pytest.approx(4 * scale.radius_scale, abs=1e-3)
    assert parts["shim"]["x"] == parts["shaft"]["width"]
    half_known = [row("shim", 30, 0.15, 1, 8), row("clamp", 12, 0.3)]
    assert all(
        part["kind"] != "shaft"
        for part in section_layout("x", half_known, scale)["parts"]  # type: ignore[attr-defined]
    )


def test_pieces_count_shims_singly_whatever_number_was_typed() -> None:
    assert pieces_of(PLAIN) == 4
    assert pieces_of([row("shim", 30, 0.15, 1e15), row("clamp", 12, 0.3)]) == 1e15 + 1
