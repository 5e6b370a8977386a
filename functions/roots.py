"""Roots of increasing functions, many at once, in brackets that are never left."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

__all__ = ["TOLERANCE", "Floats", "increasing_root"]

Floats = NDArray[np.float64]

TOLERANCE = 1e-12
"""Relative tolerance on the unknown [-]."""

_PATIENCE = 5  # one step in so many is a halving in any case
_MOST_STEPS = 300  # about 55 halvings always suffice


def increasing_root(
    function: Callable[[Floats], Floats],
    low: Floats,
    high: Floats,
    *,
    ends: tuple[Floats, Floats] | None = None,
) -> Floats:
    """Root of an increasing function, element by element, by Chandrupatla's method.

    Parameters
    ----------
    function : callable
        Takes and returns an array of the shape of low and high.
    low, high : ndarray
        Where the root is known to lie; a wrong sign there is rounding.
    ends : (ndarray, ndarray), optional
        The function at low and high, where that is known already.

    Returns
    -------
    ndarray
        Roots to `TOLERANCE`; an infinite high (a closed path) is handed back as it is.

    Notes
    -----
    The first step is linear interpolation, the others inverse quadratic interpolation where
    that is safe, else a halving; every fifth step is a halving in any case, so the tolerance
    is reached for certain.

    References
    ----------
    Chandrupatla, Adv. Eng. Software 28 (1997) 145 (from memory).
    """
    shut = np.isinf(high)
    with np.errstate(all="ignore"):
        a, b = np.where(shut, 0.0, high), np.where(shut, 0.0, low)
        fb, fa = (function(b), function(a)) if ends is None else ends
        fa, fb = np.maximum(fa, 0.0), np.minimum(fb, 0.0)
        c, fc, share = a, fa, fa / (fa - fb)
        for step in range(_MOST_STEPS):
            best = np.where(np.abs(fa) < np.abs(fb), a, b)
            least = TOLERANCE * np.abs(best) / np.abs(b - a)
            done = (fa == 0.0) | (fb == 0.0) | ~(least < 0.5)
            if done.all():
                break
            x = np.where(done, best, a + np.where(done, 0.5, np.clip(share, least, 1.0 - least)) * (b - a))
            fx = function(x)
            same = np.sign(fx) == np.sign(fa)
            c, fc = np.where(done, c, np.where(same, a, b)), np.where(done, fc, np.where(same, fa, fb))
            b, fb = np.where(done | same, b, a), np.where(done | same, fb, fa)
            a, fa = np.where(done, a, x), np.where(done, fa, fx)
            xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
            smooth = (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
            leap = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
            share = np.where(smooth & (step % _PATIENCE < _PATIENCE - 1), leap, 0.5)
        return np.asarray(np.where(shut, high, np.where(np.abs(fa) < np.abs(fb), a, b)))
