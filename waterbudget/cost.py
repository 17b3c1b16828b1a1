"""What watering takes and costs: energy from volume, head and efficiency; tariff; people's time.

Source: physics (a cubic metre of water weighs 1000 kg); the default efficiency is an own estimate.
Prices and wages are the farm's own, in whatever currency it writes.
"""

from __future__ import annotations

from dataclasses import dataclass

from waterbudget.orchard import Orchard, Pump

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


def pump_kwh(pump: Pump, volume_m3: float) -> float | None:
    """Return the energy with which one pump lifts a volume [kWh]; None where its head is unknown.

    Parameters
    ----------
    volume_m3 : float [m3]
    """
    if pump.head_m is None:
        return None
    share = USUAL_EFFICIENCY if pump.efficiency is None else pump.efficiency
    return pumping_kwh(volume_m3, pump.head_m, share)


@dataclass(frozen=True)
class Cost:
    """What some waterings take and cost; None where a figure it needs was never given.

    Attributes
    ----------
    energy_kwh : float or None
        From the line [kWh].
    cheap_share : float
        Share of the water pumped in the cheap hours [0..1].
    energy_cost, labour_cost : float or None
        In the farm's currency.
    m3 : float
        Water at the meter [m3].
    """

    energy_kwh: float | None
    cheap_share: float
    energy_cost: float | None
    labour_cost: float | None
    m3: float

    @property
    def total(self) -> float | None:
        """Energy and labour together, as far as they are known."""
        known = [c for c in (self.energy_cost, self.labour_cost) if c is not None]
        return sum(known) if known else None

    @property
    def per_m3(self) -> float | None:
        """Cost of a cubic metre at the meter, as far as it is known."""
        total = self.total
        return None if total is None or self.m3 <= 0 else total / self.m3


def cost_of(farm: Orchard, pump: Pump, volume_m3: float, cheap_share: float, openings: int) -> Cost:
    """Return what a block's waterings take and cost.

    Parameters
    ----------
    volume_m3 : float
        Water at the meter [m3].
    cheap_share : float
        Share of it pumped in the farm's cheap hours [0..1].
    openings : int
        How often a valve is opened; each takes ``minutes_a_valve`` of a person.
    """
    kwh = pump_kwh(pump, volume_m3)
    energy = None
    if kwh is not None and farm.price_kwh is not None:
        cheap = farm.price_kwh if farm.price_kwh_night is None else farm.price_kwh_night
        energy = kwh * ((1.0 - cheap_share) * farm.price_kwh + cheap_share * cheap)
    labour = None
    if farm.minutes_a_valve is not None and farm.wage_hour is not None:
        labour = openings * farm.minutes_a_valve / 60.0 * farm.wage_hour
    return Cost(kwh, cheap_share, energy, labour, volume_m3)


def together(costs: list[Cost]) -> Cost:
    """Return the sums of several costs; a sum is None only where every part is."""
    m3 = sum(c.m3 for c in costs)
    cheap = sum(c.cheap_share * c.m3 for c in costs)
    return Cost(
        _sum([c.energy_kwh for c in costs]), cheap / m3 if m3 else 0.0,
        _sum([c.energy_cost for c in costs]), _sum([c.labour_cost for c in costs]), m3,
    )  # fmt: skip


def _sum(values: list[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return sum(known) if known else None
