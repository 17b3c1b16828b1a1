"""Before planting: from the trees wanted back to sowing, and what the nursery needs for it.

Counted backwards from the day of planting: grafting some four months before, pricking out into
bags some two and a half months before that, sowing a pricking-out age and the germination before
that.  Every figure stands in ``tables/nursery.csv`` as common practice or own estimate, with its
bounds, and the grower's own figure goes before it.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from waterbudget import tables
from waterbudget.errors import Refused

PREFIX = "nursery."
"""Before the name of a nursery figure among the farm's own figures."""


@dataclass(frozen=True)
class NurseryFigure:
    """One figure of the nursery: usual value, bounds, unit, and where it comes from."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    kind: str
    note: str


@dataclass(frozen=True)
class Step:
    """One step of raising the plants.

    Attributes
    ----------
    name : str
        ``sow``, ``prick``, ``graft`` or ``plant``.
    date : datetime.date
        With the figures as they stand; ``earliest`` and ``latest`` with their ranges.
    plants : int
        Seeds, seedlings, plants to graft, plants to set out.
    """

    name: str
    date: dt.date
    earliest: dt.date
    latest: dt.date
    plants: int


@dataclass(frozen=True)
class NurseryPlan:
    """What raising the trees of a block takes.

    Attributes
    ----------
    soil_l, husk_l : float
        Mix for the bags [L].
    holes_m3 : float
        Ground moved for the holes [m3].
    """

    trees: int
    steps: tuple[Step, ...]
    seeds: int
    cells: int
    trays: int
    bags: int
    grafts: int
    stakes: int
    bag_l: float
    soil_l: float
    husk_l: float
    holes_m3: float

    def step(self, name: str) -> Step:
        """Return one step by its name."""
        return next(s for s in self.steps if s.name == name)


@cache
def figures() -> dict[str, NurseryFigure]:
    """Return every figure of the nursery as it ships."""
    return {
        r["figure"]: NurseryFigure(
            r["figure"], float(r["value"]), float(r["low"]), float(r["high"]), r["unit"],
            r["kind"], r["note"],
        )
        for r in tables.read("nursery")
    }  # fmt: skip


def checked(name: str, value: float) -> float:
    """Return a figure's value if it can be.

    Raises
    ------
    Refused
        ``nursery.unknown_figure``, ``nursery.bad_figure``.
    """
    known = figures().get(name)
    if known is None:
        raise Refused("nursery.unknown_figure", figure=name, known=", ".join(figures()))
    if not known.low <= value <= known.high:
        raise Refused("nursery.bad_figure", figure=name, value=value, low=known.low,
                      high=known.high)  # fmt: skip
    return value


def raise_plants(
    trees: int, plant_on: dt.date, own: Mapping[str, float] | None = None
) -> NurseryPlan:
    """Return what to raise and when, so that ``trees`` can be planted on a day.

    Parameters
    ----------
    trees : int
        Places in the field.
    plant_on : datetime.date
    own : mapping, optional
        The grower's own figures by name.

    Raises
    ------
    Refused
        ``nursery.bad_figure``, ``nursery.unknown_figure``.
    """
    f = {name: fig.value for name, fig in figures().items()}
    f |= {name: checked(name, value) for name, value in (own or {}).items()}
    to_plant = _up(trees * (1.0 + f["spare_share"]))
    grafts = _up(to_plant / (f["graft_share"] * f["field_share"]))
    bags = _up(grafts / f["pricking_share"])
    fails = (1.0 - f["germination_share"]) ** f["seeds_a_cell"]
    cells = _up(bags / (1.0 - fails))
    seeds = _up(cells * f["seeds_a_cell"])
    counts = {"plant": to_plant, "graft": grafts, "prick": bags, "sow": seeds}
    bag_l = math.pi / 4.0 * (f["bag_width_cm"] / 10.0) ** 2 * f["bag_depth_cm"] / 10.0
    parts = f["soil_parts"] + f["husk_parts"]
    soil = f["soil_parts"] / parts if parts else 1.0
    hole_m3 = math.pi / 4.0 * (f["hole_width_cm"] / 100.0) ** 2 * f["hole_depth_cm"] / 100.0
    return NurseryPlan(
        trees=trees, steps=_steps(plant_on, f, set(own or {}), counts), seeds=seeds, cells=cells,
        trays=_up(cells / f["tray_cells"]), bags=bags, grafts=grafts,
        stakes=_up(to_plant * f["stakes_a_tree"]), bag_l=bag_l, soil_l=bags * bag_l * soil,
        husk_l=bags * bag_l * (1.0 - soil), holes_m3=trees * hole_m3,
    )  # fmt: skip


def _steps(
    plant_on: dt.date, f: Mapping[str, float], own: set[str], counts: Mapping[str, int]
) -> tuple[Step, ...]:
    """Count back from the day of planting; a figure the grower gave has no range."""
    known = figures()
    early = late = usual = 0.0
    found = [Step("plant", plant_on, plant_on, plant_on, counts["plant"])]
    for name, parts in (
        ("graft", ("graft_days",)), ("prick", ("bag_days",)),
        ("sow", ("pricking_days", "germination_days")),
    ):  # fmt: skip
        for part in parts:
            usual += f[part]
            early += f[part] if part in own else known[part].high
            late += f[part] if part in own else known[part].low
        on, first, last = (plant_on - dt.timedelta(days=round(d)) for d in (usual, early, late))
        found.append(Step(name, on, first, last, counts[name]))
    return tuple(reversed(found))


def _up(number: float) -> int:
    return math.ceil(number - 1e-9)


@dataclass(frozen=True)
class SiteRange:
    """One published or usual range of a site quantity, and where the site stands in it."""

    quantity: str
    low: float
    high: float
    unit: str
    source: str
    where: str
    kind: str
    note: str
    value: float | None
    stands: str


def site_sheet(values: Mapping[str, float | None]) -> tuple[SiteRange, ...]:
    """Compare a site with the ranges of common practice and of other sources.

    Parameters
    ----------
    values : mapping
        ``elevation_m``, ``ph``, ``light_h``, ``mean_c``, ``rain_mm``; None where not known.
    """
    found = []
    for r in tables.read("site_ranges"):
        value = values.get(r["quantity"])
        low, high = float(r["low"]), float(r["high"])
        stands = "unknown"
        if value is not None:
            stands = "below" if value < low else "above" if value > high else "inside"
        found.append(SiteRange(r["quantity"], low, high, r["unit"], r["source"], r["where"],
                               r["kind"], r["note"], value, stands))  # fmt: skip
    return tuple(found)
