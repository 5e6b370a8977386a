"""Whole builds against textbook laws and a calculation by hand.

Sources
-------
Poiseuille: Hagen-Poiseuille, Δp = 128 μ L Q/(π d⁴), and the damping constant of a piston with one long
    hole that follows from it, c = 128 μ L A²/(π d⁴); textbook formula, from memory.
Square law: a piston with sharp orifices, F = ρ A³ v²/(2 Cd² a²); textbook formula, from memory.
Timoshenko: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapter 3: ring
    plate, inner edge clamped, outer edge loaded; its differential equation is solved here anew.

Published dampers: papers and theses on shim dampers were looked for (among them Rhoades, Texas A&M 2006;
Meissen, Colorado State 2009; Schickhofer, arXiv 2208.06343, 2022; Xu, Chu & Ma, Adv. Mech. Eng. 10(2),
2018; Li et al., Vibroengineering 2018). None could be had with complete data: stack, clamp, window, seat,
ports, bleed, oil and temperature of one damper together with its measured forces. So no measured
force-velocity curve is checked here.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from dampcell.functions.damping import DampingModel, LiftTable
from dampcell.functions.flow import Fluid
from dampcell.functions.stacks import Part, Stack
from dampcell.functions.valves import Face, Valve

OIL = Fluid(density=850.0, kinematic_viscosity=20.0)  # μ = 0.017 Pa·s

SHUT = Face(18.0, 25.0, 0.6, 26.0, 3.0, 60.0, 6.0, 4.0)  # the seat, 3 mm above the hub, holds the shim down
STIFF = Stack((Part("shim", 30.0, 0.3, 4),), 12.0)


def test_a_long_bleed_is_the_textbook_dashpot() -> None:
    # A = π/4 · 0.03² = 7.0686e-4 m²; c = 128 · 0.017 · 0.1 · 7.0686e-4² / (π · (1e-3)⁴) = 34 608 N·s/m.
    # At 1 µm/s that is 0.034608 N. The viscous ends add 3π/16 of a diameter of length, 0.59 % of 100 mm,
    # and the leak, d³/(24 μ) against π D⁴/(128 μ L) = 3.333e-7/2.454e-4, passes 0.136 % beside it:
    # 0.034608 · 1.0059/1.00136 = 0.034765 N.
    valve = Valve(SHUT, 30.0, bleed_diameter=1.0, bleed_length=100.0, leak_diameter=0.02)
    model = DampingModel(LiftTable(STIFF, SHUT), valve)
    assert float(model.curve(1e-6, OIL).force[0]) == pytest.approx(0.034765, rel=1e-4)


def test_a_sharp_leak_is_the_textbook_square_law() -> None:
    # One sharp orifice of 3 mm, a = 7.0686e-6 m², Cd = 0.611, piston as above, 0.1 m/s:
    # F = 850 · (7.0686e-4)³ · 0.01 / (2 · 0.611² · (7.0686e-6)²) = 80.47 N.
    # Re = 10 m/s · 3e-3 / 20e-6 = 1500: the laminar part adds 12π/1500 · 0.611² = 0.94 %.
    model = DampingModel(LiftTable(STIFF, SHUT), Valve(SHUT, 30.0, leak_diameter=3.0))
    assert float(model.curve(0.1, OIL).force[0]) == pytest.approx(80.47 * 1.0094, rel=1e-3)


def test_one_whole_build_at_one_speed_by_hand() -> None:
    """Choose the lift, go through every law by hand up to velocity and force, and ask for that velocity."""
    # A single shim of 24 × 0.3 mm on a clamp of 12 mm, pressed at its edge (window 23.9 to 24 mm, seat 24).
    # Ring plate, E = 206 GPa, ν = 0.3: D = 206e3 · 0.3³ / (12 · 0.91) = 509.34 N·mm. Under a load P on its
    # edge w = C1 + C2 ln r + C3 r² − P r² (ln r − 1)/(8 π D), with w = w' = 0 at 6 mm and M_r = 0 at 12 mm.
    rigidity = 206e3 * 0.3**3 / (12.0 * 0.91)
    inner, outer, nu = 6.0, 12.0, 0.3
    unit = -1.0 / (8.0 * math.pi * rigidity)
    slope = unit * (2.0 * outer * (math.log(outer) - 1.0) + outer)
    bend = unit * (2.0 * math.log(outer) + 1.0)
    equations = np.array(
        [
            [1.0, math.log(inner), inner**2],
            [0.0, 1.0 / inner, 2.0 * inner],
            [0.0, (nu - 1.0) / outer**2, 2.0 + 2.0 * nu],
        ]
    )
    particular = np.array(
        [
            unit * inner**2 * (math.log(inner) - 1.0),
            unit * (2.0 * inner * (math.log(inner) - 1.0) + inner),
            bend + nu / outer * slope,
        ]
    )
    constants = np.linalg.solve(equations, -particular)
    edge = constants @ [1.0, math.log(outer), outer**2] + unit * outer**2 * (math.log(outer) - 1.0)
    stiffness = 1.0 / edge
    # The book's table gives w = 0.0877 P a²/(E t³) for this ratio (from memory): 440.4 N/mm.
    assert stiffness == pytest.approx(206e3 * 0.027 / (0.0877 * 144.0), rel=1e-3)

    # Lift 0.02 mm: load 8.80 N. (Stiffening at w/t = 0.07 is 0.1 %.) Area under the shim
    # π/4 · (24² − 23.9²) = 3.762 mm², the land has no width that counts: p_s = 8.80/3.762 MPa = 23.4 bar.
    lift = 0.02
    load = stiffness * lift
    area = 0.25 * math.pi * (24.0**2 - 23.9**2)
    under = load / area * 1e6  # Pa
    # Gap π · 24 · 0.02 = 1.508 mm²; slit law 1/Cd² = (96 · 0/(2h) + 128/π)/Re + 1/0.611²; land 0.
    gap = math.pi * 0.024 * lift * 1e-3  # m²
    width = 2.0 * lift * 1e-3
    land = 0.0
    viscous = 0.5 * 0.017 * (96.0 * land / width + 128.0 / math.pi) / (gap * width)
    kinetic = 0.5 * 850.0 / 0.611015**2 / gap**2
    shims = 2.0 * under / (viscous + math.sqrt(viscous**2 + 4.0 * kinetic * under))
    # Ports: 2 of 1.5 mm², 5 mm long, each 1.382 mm wide: K = 1.5, (64 · 5/1.382 + 12π)/Re.
    wide = math.sqrt(4.0 * 1.5 / math.pi) * 1e-3
    speed = shims / 3e-6
    reynolds = speed * wide / 20e-6
    ports = 425.0 * speed**2 * ((64.0 * 0.005 / wide + 12.0 * math.pi) / reynolds + 1.5)
    total = under + ports
    # Bleed of 0.8 mm, 2 mm long, and the leak, an orifice of 0.1 mm, at the total drop.
    hole, leak = 0.25 * math.pi * 0.8e-3**2, 0.25 * math.pi * 0.1e-3**2
    viscous = 0.5 * 0.017 * (64.0 * 2.0 / 0.8 + 12.0 * math.pi) / (hole * 0.8e-3)
    kinetic = 0.5 * 850.0 * 1.5 / hole**2
    bleed = 2.0 * total / (viscous + math.sqrt(viscous**2 + 4.0 * kinetic * total))
    viscous = 0.5 * 0.017 * 12.0 * math.pi / (leak * 0.1e-3)
    kinetic = 0.5 * 850.0 / 0.611015**2 / leak**2
    seep = 2.0 * total / (viscous + math.sqrt(viscous**2 + 4.0 * kinetic * total))
    # Displaced by a shaft of 10 mm: A = 78.54 mm².
    displaced = 0.25 * math.pi * 0.01**2
    velocity = (shims + bleed + seep) / displaced
    force = total * displaced

    face = Face(23.9, 24.0, 1.0, 24.0, 0.0, 3.0, 5.0, 2.0)
    valve = Valve(face, 10.0, bleed_diameter=0.8, bleed_length=2.0, leak_diameter=0.1)
    model = DampingModel(LiftTable(Stack((Part("shim", 24.0, 0.3, 1),), 12.0), face), valve)
    found = model.curve(velocity, OIL)
    # 0.5 %: stiffening 0.1 %, the window 0.05 mm inside the edge 0.4 % of lever, table below 0.15 % here.
    assert float(found.lift[0]) == pytest.approx(lift, rel=5e-3)
    assert float(found.force[0]) == pytest.approx(force, rel=5e-3)
    assert found.flows["bleed"][0] == pytest.approx(bleed * 1e6, rel=5e-3)
    assert found.flows["leak"][0] == pytest.approx(seep * 1e6, rel=5e-3)
