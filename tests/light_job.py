"""A demo job that costs little to compute, for tests that need a whole workbook and no more."""

from __future__ import annotations

from importlib.resources import files

__all__ = ["LIGHT_JOB"]

LIGHT_JOB = next(
    item for item in files("dampcell.templates").joinpath("demo").iterdir() if "bicycle" in item.name
).read_bytes()
