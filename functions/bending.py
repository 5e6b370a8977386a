"""How each layer of a stack bends by itself: lift, stiffening and stress for given forces on it.

Every layer is a thin plate with closed-form influence functions (`plates`).
For large lift its stiffness grows by the membrane energy of its own shape.
What the layers do to each other is the business of `contact`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dampcell.functions.layers import Layer, present
from dampcell.functions.plates import Floats, Plate, membrane_kernel
from dampcell.functions.states import LEAST, States

__all__ = ["AXISYMMETRIC_LIMIT", "Bending"]

AXISYMMETRIC_LIMIT = 2.0
"""Edge lift over thickness [-] beyond which a plate goes wavy and stiffens no further.

Own finite-shell study behind the design: the axisymmetric shape is unstable above
about 2.0 to 2.6, and the true secant stiffness stays at 1.6 to 2.2 times the linear one.
"""

_GAUSS = np.polynomial.legendre.leggauss(24)


class Bending:
    """The layers of a stack, each by itself.

    Parameters
    ----------
    layers : sequence of Layer
        From the face to the clamp; the first is clamped.
    circles : ndarray
        Radii on which layers may touch [mm].
    loaded : ndarray
        Radii on which only the face layer is loaded [mm].
    poisson : float
        Poisson's ratio [-].

    Notes
    -----
    Forces and lifts come for all circles, those where layers may touch first, with leading axes
    for n states and for the layers. A shape is the forces on a layer over its stiffening [N].
    """

    def __init__(self, layers: Sequence[Layer], circles: Floats, loaded: Floats, *, poisson: float) -> None:
        self.layers = tuple(layers)
        self.poisson = poisson
        self.radii = np.concatenate([circles, loaded])
        self.loose = np.flatnonzero([layer.loose for layer in layers])
        self.influence = self._influence(len(circles))
        """Lift on any circle per force on any other, shape (layers, circles, circles) [mm/N]."""
        self._edge = np.array([np.argmin(np.abs(circles - layer.outer)) for layer in layers])
        self._membrane()

    def _influence(self, count_circles: int) -> Floats:
        radii, layers = self.radii, self.layers
        reach = present(layers, radii).T
        reach[1:, count_circles:] = False
        self._reach = reach
        self._rigidity = np.array([layer.rigidity for layer in layers])
        influence = np.zeros((len(layers), len(radii), len(radii)))
        held = [i for i, layer in enumerate(layers) if not layer.loose]
        outer = np.array([layers[i].outer for i in held])[:, None, None]
        influence[held] = Plate(layers[0].inner, outer, self.poisson).deflection(radii, radii)
        for i in self.loose:
            ring = np.flatnonzero(reach[i])
            plate = Plate(layers[i].inner, layers[i].outer, self.poisson, "hinged")
            inside = np.clip(radii[ring], layers[i].inner, layers[i].outer)
            influence[np.ix_([i], ring, ring)] = plate.deflection(inside, inside)
        influence *= reach[:, :, None] * reach[:, None, :] / self._rigidity[:, None, None]
        return influence

    def _membrane(self) -> None:
        """Slopes at quadrature points and the in-plane energy kernel of every layer."""
        nodes, weights = _GAUSS
        inner = np.array([layer.inner for layer in self.layers])[:, None]
        outer = np.array([layer.outer for layer in self.layers])[:, None]
        at, step = 0.5 * (outer - inner) * nodes + 0.5 * (outer + inner), 0.5 * (outer - inner) * weights
        plate = Plate(self.layers[0].inner, outer[:, :, None], self.poisson)
        slopes = plate.slope(at, self.radii) * self._reach[:, None, :]
        kernel = membrane_kernel(at, at, inner[:, :, None], outer[:, :, None], poisson=self.poisson)
        for i in map(int, self.loose):
            low, high, ring = inner[i, 0], outer[i, 0], np.flatnonzero(self._reach[i])
            plate = Plate(low, high, self.poisson, "hinged")
            slopes[i][:, ring] = plate.slope(at[i], np.clip(self.radii[ring], low, high))
            kernel[i] = membrane_kernel(at[i], at[i], low, high, poisson=self.poisson, support="hinged")
        self._slopes = slopes / self._rigidity[:, None, None]
        self._kernels = kernel * step[:, :, None] * step[:, None, :]
        self._points, self._steps = at, step
        plates = max(len(layer.thicknesses) for layer in self.layers)
        self._shares = np.zeros((len(self.layers), plates))
        self._thickness = np.ones((len(self.layers), plates))
        for i, layer in enumerate(self.layers):
            self._shares[i, : len(layer.rigidities)] = np.array(layer.rigidities) / layer.rigidity
            self._thickness[i, : len(layer.thicknesses)] = layer.thicknesses
        factor = 48.0 * np.pi * (1.0 - self.poisson**2) * self._rigidity
        self._growing = factor[:, None] / self._thickness**2
        self._farthest = (AXISYMMETRIC_LIMIT * self._thickness) ** 2

    def lifts(self, shapes: Floats) -> Floats:
        """Elastic lift of every layer on every circle, shape (n, layers, circles) [mm]."""
        lifts: Floats = np.matmul(shapes.transpose(1, 0, 2), self.influence)
        return lifts.transpose(1, 0, 2)

    # -- large lift -----------------------------------------------------------------------------------

    def _strains(self, shapes: Floats) -> Floats:
        """Radial strain (dw/dr)²/2 at the quadrature points, shape (layers, n, points) [-]."""
        slopes = np.matmul(shapes.transpose(1, 0, 2), self._slopes.transpose(0, 2, 1))
        result: Floats = 0.5 * slopes**2
        return result

    def _growth(self, shapes: Floats, lifts: Floats) -> tuple[Floats, Floats]:
        """Excess of every plate's stiffness for its shape, and its cap, (n, layers, plates) [-]."""
        strains = self._strains(shapes)
        work = (shapes * lifts).sum(axis=2)
        stretch = (np.matmul(strains, self._kernels) * strains).sum(axis=2).T
        raw = (stretch / np.where(work > 0.0, work, np.inf))[:, :, None] * self._growing
        edge = lifts[:, np.arange(len(self.layers)), self._edge]
        cap = raw * (self._farthest / np.where(np.abs(edge) > LEAST, edge * edge, 1.0)[:, :, None])
        return raw, cap

    def stiffen(self, shapes: Floats, lifts: Floats, stiffening: Floats) -> tuple[Floats, Floats]:
        """Stiffening that belongs to some shapes, and a better guess for the next one.

        Parameters
        ----------
        shapes, lifts : ndarray, shape (n, layers, circles)
            Forces over stiffening [N], and the elastic lifts that go with them [mm].
        stiffening : ndarray, shape (n, layers)
            Stiffening that the shapes were found with [-].

        Returns
        -------
        target, guess : ndarray, shape (n, layers)
            Stiffening [-].

        Notes
        -----
        For a plate that keeps its shape the bending energy U_b goes with w² and the
        membrane energy U_m with w⁴, so its secant stiffness grows by 1 + 2 U_m/U_b.
        The guess solves that for each layer as if its load stayed the same.
        """
        raw, cap = self._growth(shapes, lifts)
        target = 1.0 + (self._shares * np.minimum(raw, cap)).sum(axis=2)
        guess, grown, found = stiffening, raw, target
        for again in (True, False):
            free = self._shares * grown * (grown < cap)
            rate = 1.0 + 2.0 * free.sum(axis=2) / guess
            guess = np.maximum(1.0, guess - (guess - found) / rate)
            if again:
                grown = raw * ((stiffening / guess) ** 2)[:, :, None]
                found = 1.0 + (self._shares * np.minimum(grown, cap)).sum(axis=2)
        return target, guess

    def gradient(self, states: States) -> Floats:
        """Gradient of each layer's stiffening by the forces of its shape, (n, layers, circles) [1/N]."""
        shapes = states.shapes
        lifts, strains = self.lifts(shapes), self._strains(shapes)
        turned = np.matmul(shapes.transpose(1, 0, 2), self._slopes.transpose(0, 2, 1))
        work = (shapes * lifts).sum(axis=2)[:, :, None]
        spanned = np.matmul(strains, self._kernels + self._kernels.transpose(0, 2, 1))
        stretch = 0.5 * (spanned * strains).sum(axis=2).T[:, :, None]
        by_stretch = np.matmul(spanned * turned, self._slopes).transpose(1, 0, 2)
        raw, cap = self._growth(shapes, lifts)
        layers = np.arange(len(self.layers))
        edge = lifts[:, layers, self._edge, None]
        by_edge = self.influence[layers, self._edge][None] / np.where(np.abs(edge) > LEAST, edge, np.inf)
        grown = (self._shares * np.minimum(raw, cap)).sum(axis=2)[:, :, None]
        capped = (self._shares * np.where(raw < cap, 0.0, cap)).sum(axis=2)[:, :, None]
        by_shape = by_stretch / np.where(stretch > 0.0, stretch, np.inf)
        by_shape -= 2.0 * lifts / np.where(work > 0.0, work, np.inf)
        result: Floats = grown * by_shape - 2.0 * capped * by_edge
        return result

    # -- what a state means ---------------------------------------------------------------------------

    def edge_ratio(self, states: States) -> Floats:
        """Largest edge lift over thickness of any clamped shim [-], shape (n,)."""
        edge = np.abs(self.lifts(states.shapes)[:, np.arange(len(self.layers)), self._edge])
        edge[:, self.loose] = 0.0
        result: Floats = (edge / self._thickness.min(axis=1)).max(axis=1)
        return result

    def stresses(self, states: States, modulus: float, *, large: bool) -> list[list[Floats]]:
        """Largest surface stress of every plate.

        Parameters
        ----------
        states : States
            States of the stack.
        modulus : float
            Modulus of elasticity [GPa].
        large : bool
            Whether to add the membrane stress.

        Returns
        -------
        list of list of ndarray
            By layer and plate, shape (n,) [MPa]: the larger of radial and tangential
            bending stress on any circle, with the membrane stress added to the radial one.
        """
        strains = self._strains(states.shapes)
        found = []
        for i, layer in enumerate(self.layers):
            reach = np.flatnonzero(self._reach[i])
            circles = np.clip(self.radii[reach], layer.inner, layer.outer)
            at = np.concatenate([[layer.inner], circles])
            plate = Plate(layer.inner, layer.outer, self.poisson, "hinged" if layer.loose else "clamped")
            radial, hoop = plate.moments(at, circles)
            forces = states.shapes[:, i, reach]
            # The curvature is common to the plates of a layer: each bears moment by its own rigidity.
            radial_moment = np.abs(forces @ radial.T) / layer.rigidity
            hoop_moment = np.abs(forces @ hoop.T) / layer.rigidity
            membrane = np.zeros_like(radial_moment)
            if large and not layer.loose:
                kernel = membrane_kernel(at, self._points[i], layer.inner, layer.outer, poisson=self.poisson)
                membrane = modulus * 1e3 * (strains[i] @ (kernel * self._steps[i]).T) / at
            plates = []
            for t, rigidity in zip(layer.thicknesses, layer.rigidities, strict=True):
                bending = 6.0 * rigidity / t**2
                stress = np.maximum(bending * radial_moment + membrane, bending * hoop_moment)
                plates.append(stress.max(axis=1))
            found.append(plates)
        return found
