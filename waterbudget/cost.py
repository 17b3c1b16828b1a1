"""What pumping takes: energy from volume, head and efficiency.

Source: physics (a cubic metre of water weighs 1000 kg); the default efficiency is an own estimate.
"""

from __future__ import annotations

from waterbudget.orchard import Orchard

GRAVITY = 9.81
"""[m/s2]"""
DENSITY = 1000.0
"""Of water [kg/m3]."""
JOULES_PER_KWH = 3.6e6
USUAL_EFFICIENCY = 0.60
"""Pump and motor together (own estimate; 0.5 to 0.75 in practice, no source)."""


def pumping_kwh(volume_m3: float, head_m: float, efficiency: float = USUAL_EFFICIENCY) -> float:
    """Return the energy that lifts and presses a volume of water [kWh].

    Parameters
    ----------
    volume_m3 : float [m3]
    head_m : float
        Lift, pressure and friction together [m of water].
    efficiency : float
        Of pump and motor together [0..1].
    """
    return DENSITY * GRAVITY * volume_m3 * head_m / efficiency / JOULES_PER_KWH


def pumping_kw(flow_m3_h: float, head_m: float, efficiency: float = USUAL_EFFICIENCY) -> float:
    """Return the power a flow takes from the line [kW]; see :func:`pumping_kwh`."""
    return pumping_kwh(flow_m3_h, head_m, efficiency)


def farm_kwh(farm: Orchard, volume_m3: float) -> float | None:
    """Return the energy that pumps a volume on this farm [kWh]; None where no head is given."""
    if farm.pump_head_m is None:
        return None
    share = farm.pump_efficiency
    return pumping_kwh(volume_m3, farm.pump_head_m, USUAL_EFFICIENCY if share is None else share)
