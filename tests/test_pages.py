"""Pages: equal content gives equal bytes, no text is taken for markup, and both papers hold the text."""

from __future__ import annotations

import datetime
import io

import pypdf
import pytest

from dampcell.functions.errors import InputError
from dampcell.workbooks import pages
from dampcell.workbooks.plots import Axis, Plot, Series


def page(*blocks: pages.Block, date: datetime.date | None = None) -> pages.Page:
    return pages.Page(
        title="Fork cartridge",
        subtitle="",
        workshop="Harbour Suspension Works",
        kind="Service report",
        footer="Job 17",
        footer_caution="Estimates.",
        blocks=blocks,
        date=date,
    )


def words(pdf: bytes) -> str:
    read = pypdf.PdfReader(io.BytesIO(pdf))
    return " ".join(" ".join(sheet.extract_text().split()) for sheet in read.pages)


def a_plot() -> pages.Block:
    axis = Axis.over("load", "N", (0.0, 10.0))
    series = Series("as found", (0.0, 5.0, 10.0), (0.0, 4.0, 10.0), limit=5.0, dots=((5.0, 4.0),))
    return pages.plot(Plot(axis, Axis.over("lift", "mm", (0.0, 10.0)), (series,)), height=40, note="A note.")


def test_equal_content_gives_equal_bytes() -> None:
    content = page(pages.text("Two times the same."), a_plot())
    assert pages.render(content) == pages.render(content)


def test_other_content_in_between_does_not_change_the_bytes() -> None:
    content = page(pages.text("First."), a_plot())
    first = pages.render(content)
    pages.render(page(pages.text("Second.")), "us-letter")
    assert pages.render(content) == first


def test_text_is_never_taken_for_markup() -> None:
    typed = "#panic() *5 $x$ <a> [b] \\ // `c` @d = e"
    assert typed in words(pages.render(page(pages.text(typed))))


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("us-letter", (612, 792))])
def test_paper_has_its_size_and_a_footer_with_page_numbers(paper: pages.Paper, size: tuple[int, int]) -> None:
    pdf = pages.render(page(pages.text("Word. " * 1500)), paper)
    read = pypdf.PdfReader(io.BytesIO(pdf))
    box = read.pages[0].mediabox
    assert (round(box.width), round(box.height)) == size
    assert f"Page 2 of {len(read.pages)}" in read.pages[1].extract_text()
    assert all("Job 17" in sheet.extract_text() for sheet in read.pages)


def test_date_of_the_file_is_the_date_of_the_job() -> None:
    pdf = pages.render(page(date=datetime.date(2026, 3, 4)))
    made = pypdf.PdfReader(io.BytesIO(pdf)).metadata
    assert made is not None
    assert made.creation_date is not None
    assert made.creation_date.date() == datetime.date(2026, 3, 4)


def test_every_kind_of_block_is_laid_out() -> None:
    blocks = (
        pages.heading("Part"),
        pages.heading("Within", 2),
        pages.facts([("Bore", "25 mm")]),
        pages.columns([pages.text("left side")], [pages.text("right side", small=True)]),
        pages.findings("In short", [("Variant A:", "softer.")]),
        pages.table([("Build", ""), ("Lift", "mm")], [["as found", "0.12"]], note="Below the table."),
        pages.checklist(
            [
                pages.Step("Before opening", True, "Cap", "5"),
                pages.Step("After closing", False, "Ride", remark="slowly", caution="In a safe place."),
            ]
        ),
        pages.caution("Cautions", ["Springs fly."]),
        a_plot(),
    )
    shown = words(pages.render(page(*blocks)))
    for expected in (
        "Part",
        "Within",
        "25 mm",
        "left side",
        "right side",
        "Variant A: softer.",
        "[mm]",
        "Below the table.",
        "Before opening",
        "Cap",
        "Ride",
        "slowly",
        "In a safe place.",
        "Springs fly.",
        "as found",
        "lift [mm]",
        "A note.",
    ):
        assert expected in shown


def test_a_table_row_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(InputError, match=r"table row: has not one cell per column \(found 1\); allowed: 2"):
        pages.table([("Build", ""), ("Lift", "mm")], [["as found"]])
