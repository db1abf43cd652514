"""How the lap drag areas answer to an error in what was put in: mass, power, speed, air density, Crr.

An input x that is off by a relative error e changes the equations by e times a column
c, and the estimate by the CdA part of H^-1 A' R^-1 c.  The inputs are not estimated:
their errors are common to all laps, the data hardly know them, and a model that is
wrong elsewhere would bend them.  With W the work less bearings over m g and K the
kinetic energy over m g, base = W - K, and to first order

    mass          c = W - CdA a          (more mass: less height for the work, less for the drag)
    power scale   c = -W_power           (the meter reads low by e)
    speed scale   c = 2 K + 3 CdA a + Crr roll  (the wheel is larger by e)
    air density   c = CdA a
    Crr           c = roll               (absolute, not relative)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.equations import CRR
from fieldaero.estimate.joint_fit.fit import JointFit

__all__ = ["InputSensitivities", "input_sensitivities"]


@dataclass(frozen=True, kw_only=True)
class InputSensitivities:
    """Change of each lap's drag area [m2] if the true input is larger by the whole of itself, shape (K,).

    ``crr_m2`` is per unit of Crr.
    """

    mass_m2: Floats
    power_scale_m2: Floats
    speed_scale_m2: Floats
    air_density_m2: Floats
    crr_m2: Floats


def input_sensitivities(fit: JointFit) -> InputSensitivities:
    """Work out the sensitivities at the most likely of the fit's linearisations."""
    component = fit.components[int(np.argmax(fit.weights))]
    found, equations, segments = component.estimate, component.problem.equations, fit.segments
    own, shared = found.whitened
    n = segments.per_lap
    cda = found.local[:, -1]
    drag = cda[:, None] * equations.local[:, :n, -1]
    crr = float(found.shared[CRR])
    inside = segments.unknown_s <= 0.0

    def answer(column: Floats) -> Floats:
        rows = np.where(inside, column, 0.0)[:, :, None]
        local = own[:, :, :n] @ rows
        border = np.sum(shared[:, :, :n] @ rows, axis=0)
        x, _ = found.factors.solve(local, border)
        # What the estimate would take for drag area is an error; the true value lies on its other side.
        return -x[:, -1, 0]

    work = segments.work_m
    return InputSensitivities(
        mass_m2=answer(work - drag),
        power_scale_m2=answer(-work),
        speed_scale_m2=answer(2.0 * segments.kinetic_m + 3.0 * drag + crr * segments.roll_m),
        air_density_m2=answer(drag),
        crr_m2=answer(segments.roll_m),
    )
