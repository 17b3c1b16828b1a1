"""Where on the ground the numbers of a file belong; what does not fit the farm is asked.

Every outline is looked at under the system the file declares.  Where at least one lies near the
farm the system is right, and the others are left out by name.  Where none does, the other ways
of reading the same numbers (the two swapped, degrees, the farm's zone and its neighbours,
web-map metres) are tried; one that fits is offered in a question, never taken in silence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyproj

from waterbudget.errors import Note, Question, Refused
from waterbudget.outlines.desk import Desk
from waterbudget.outlines.geodesy import distance_km, utm_epsg
from waterbudget.outlines.model import Raw, RawFile
from waterbudget.outlines.systems import WGS84, Mover, asked_crs, name_of

FAR_KM = 50.0
SWAP_FROM_KM = 5.0
SWAP_TIMES = 4.0
Position = tuple[float, float]


@dataclass(frozen=True)
class Spot:
    """Where an outline would lie.

    Attributes
    ----------
    lat, lon : float or None
        None where the numbers give no position at all.
    km : float
        From the farm; 0 where the farm's position is not given.
    """

    lat: float | None
    lon: float | None
    km: float

    @property
    def fits(self) -> bool:
        """Whether it lies within 50 km of the farm."""
        return self.lat is not None and self.km <= FAR_KM


def centre(raw: Raw) -> np.ndarray | None:
    """Return the middle of a feature's numbers, None where there are none."""
    rings = [ring for rings in raw.polygons for ring in rings if len(ring)]
    if not rings:
        return None
    points = np.vstack(rings)
    points = points[np.isfinite(points).all(axis=1)]
    return (points.min(axis=0) + points.max(axis=0)) / 2 if len(points) else None


def far_fields(spot: Spot) -> dict[str, float | str]:
    """Return what the sentence about a far place names."""
    assert spot.lat is not None and spot.lon is not None
    lat, lon = round(spot.lat, 4), round(spot.lon, 4)
    return {"km": round(spot.km), "lat": lat, "lon": lon, "where": f"{lat:.4f}, {lon:.4f}"}


def spot_of(raw: Raw, mover: Mover, near: Position | None) -> Spot:
    """Return where a feature would lie when read by ``mover``."""
    middle = centre(raw)
    if middle is None:
        return Spot(None, None, 0.0)
    lon, lat = mover.lonlat(middle[None, :])[0]
    if not (np.isfinite(lat) and np.isfinite(lon)):
        return Spot(None, None, 0.0)
    km = distance_km(*near, float(lat), float(lon)) if near is not None else 0.0
    return Spot(float(lat), float(lon), km)


class Placer:
    """Decides how the numbers of one file are read.

    Parameters
    ----------
    epsg : int
        Projected system of the farm.
    near : (lat, lon) or None
        Where the farm lies.
    """

    def __init__(self, file: RawFile, desk: Desk, epsg: int, near: Position | None) -> None:
        self.file, self.desk, self.epsg, self.near = file, desk, epsg, near
        self.raws = [r for r in file.raws if centre(r) is not None and r.bad is None]

    def mover(self, crs_named: str | None) -> Mover | None:
        """Return how corners are moved; None while a question is open.

        Raises
        ------
        Refused
            ``outlines.far`` with distance and position, ``outlines.no_position`` where the
            numbers cannot be placed with the system that was named.
        """
        if not self.raws:
            return self._make(WGS84())
        named = crs_named if crs_named is not None else self.desk.peek("crs")
        if named is not None:
            crs = asked_crs(named)
            if self.file.crs is not None and not crs.equals(self.file.crs):
                self.file.notes.append(Note.of("outlines.system_overruled", used=name_of(crs),
                                               declared=name_of(self.file.crs)))  # fmt: skip
        elif self.file.crs is not None:
            crs = self.file.crs
        else:
            plausible = self._plausible_degrees()
            if plausible is None:
                self._ask_system("outlines.ask_system", "")
                return None
            crs = plausible
        return self._placed(crs, named is not None)

    def _make(self, crs: pyproj.CRS, swapped: bool = False) -> Mover:
        scale = self.file.metres_per_unit
        if scale != 1.0 and crs.is_projected:
            scale /= crs.axis_info[0].unit_conversion_factor or 1.0
        return Mover(crs, self.epsg, self.near, scale=scale, swapped=swapped)

    def _spots(self, mover: Mover) -> list[Spot]:
        return [spot_of(raw, mover, self.near) for raw in self.raws]

    def _any_fits(self, crs: pyproj.CRS, swapped: bool = False) -> bool:
        return any(s.fits for s in self._spots(self._make(crs, swapped)))

    def _plausible_degrees(self) -> pyproj.CRS | None:
        """Return WGS84 where numbers without a system can be degrees here."""
        if not self.file.degrees_if_plausible:
            return None
        wgs84 = WGS84()
        if self._any_fits(wgs84):
            self.file.notes.append(Note.of("outlines.taken_as_degrees"))
            return wgs84
        return wgs84 if self.near is not None and self._any_fits(wgs84, True) else None

    def _placed(self, crs: pyproj.CRS, was_named: bool) -> Mover | None:
        mover = self._make(crs)
        spots = self._spots(mover)
        if any(s.fits for s in spots) and not self._degrees_as_metres(crs):
            better = self._make(crs, swapped=True)
            return self._swap(mover, better) if self._swap_is_better(spots, better) else mover
        if self._any_fits(crs, swapped=True) and not self._degrees_as_metres(crs):
            return self._swap(mover, self._make(crs, swapped=True))
        first = self._first_placed(spots)
        if was_named:
            if first is None:
                raise Refused("outlines.no_position", system=name_of(crs))
            raise self._far(first)
        suggestion = self._suggestion(crs)
        if suggestion or first is None or self._degrees_as_metres(crs):
            self._ask_system("outlines.ask_system_other", suggestion, name_of(crs))
            return None
        raise self._far(first)

    def _first_placed(self, spots: Sequence[Spot]) -> tuple[Raw, Spot] | None:
        pairs = zip(self.raws, spots, strict=True)
        return next(((r, s) for r, s in pairs if s.lat is not None), None)

    @staticmethod
    def _far(first: tuple[Raw, Spot]) -> Refused:
        raw, spot = first
        return Refused("outlines.far", name=raw.name, **far_fields(spot))

    def _degrees_as_metres(self, crs: pyproj.CRS) -> bool:
        """Tell whether numbers that can only be degrees are declared as metres."""
        if not crs.is_projected or self.file.metres_per_unit != 1.0:
            return False
        middles = np.array([centre(r) for r in self.raws])
        return bool((np.abs(middles) <= (180, 90)).all())

    def _swap_is_better(self, spots: Sequence[Spot], swapped: Mover) -> bool:
        if self.near is None or not swapped.crs.is_geographic:
            return False
        now = min(s.km for s in spots if s.fits)
        then = [s.km for s in self._spots(swapped) if s.fits]
        return now > SWAP_FROM_KM and bool(then) and min(then) * SWAP_TIMES < now

    def _swap(self, plain: Mover, swapped: Mover) -> Mover | None:
        spots = [s for s in self._spots(swapped) if s.fits]
        fields = {"km": round(min(s.km for s in spots), 1)}
        question = Question("swap", "outlines.ask_swap", fields, ("yes", "no"),
                            sample=self._sample())  # fmt: skip
        answer = self.desk.ask(question)
        if answer is None:
            return None
        if answer == "yes":
            self.file.notes.append(Note.of("outlines.swapped"))
            return swapped
        spots = self._spots(plain)
        if any(s.fits for s in spots):
            return plain
        first = self._first_placed(spots)
        if first is None:
            raise Refused("outlines.no_position", system=name_of(plain.crs))
        raise self._far(first)

    def _suggestion(self, declared: pyproj.CRS | None) -> str:
        """Return the system under which the numbers lie near the farm, or an empty text."""
        if self.near is None:
            return ""
        home = utm_epsg(*self.near)
        zone, band = home % 100, home - home % 100
        beside = [band + (zone + step - 1) % 60 + 1 for step in (-1, 1)]
        other = 32600 if band == 32700 else 32700
        for code in (4326, home, *beside, other + zone, 3857):
            crs = pyproj.CRS.from_epsg(code)
            if declared is not None and crs.equals(declared):
                continue
            if self._any_fits(crs):
                return f"EPSG:{code}"
        return ""

    def _ask_system(self, code: str, suggestion: str, declared: str = "") -> None:
        if not declared:
            suggestion = self._suggestion(None)
        if suggestion:
            code += "_suggested"
        fields = {"declared": declared, "suggested": suggestion}
        self.desk.ask(Question("crs", code, fields, None, "epsg", self._sample()))

    def _sample(self) -> tuple[str, ...]:
        if self.file.sample:
            return self.file.sample
        corners = self.raws[0].polygons[0][0][:3]
        return tuple(f"{x:.10g}, {y:.10g}" for x, y in corners)
