"""Dampcell: what a shim stack, an oil and a fill do to a damper, inside the workshop's spreadsheets."""

import os

# The systems of equations here have some ten unknowns: threads of the linear algebra library cost far
# more than they bring, and this has to be said before that library is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"

__all__ = ["__version__"]
