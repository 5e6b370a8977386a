"""Dampcell: what a shim stack, an oil and a fill do to a damper, inside the workshop's spreadsheets."""

__version__ = "0.1.0"

__all__ = ["__version__"]
