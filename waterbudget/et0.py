"""Reference ET: what the air takes from well-watered clipped grass, day by day.

The daily value is the FAO-56 Penman-Monteith equation (eq. 6) worked out by pyet, behind one door
(:func:`reference_et`) that takes degrees, looks at every number before it is used, hands pyet
unbroken days on one index, and says for each day what it was made from.

How a day is made (the first that is known wins):

========  =============================================================================
input     ladder, with the code a step leaves in ``made_from``
========  =============================================================================
low/high  both known and the high above the low; one of them and the day's mean; the mean alone
          with a range from the measured sun (eq. 50 turned round) or of 10 degC (``t_range``);
          else only a given ET0 can help
sun       radiation; sunshine hours (``rs_sun``, eq. 35); temperature range
          (``rs_trange``, eq. 50, never above a clear sky)
moisture  vapour pressure, morning and afternoon humidity (eq. 17), morning humidity alone
          (eq. 18); mean humidity (``ea_rhmean``, eq. 19); the low taken as dew point
          (``ea_tmin``, eq. 48)
wind      at 2 m; the farm's default (``wind_assumed``)
========  =============================================================================

A day made from the low and high alone is ``temp_only``: still Penman-Monteith with estimated
inputs, which FAO-56 puts before the temperature formula (p. 64 and example 20; wording from
memory).  A value that cannot be (radiation above the top of the air, humidity given as a share of
one, wind of 80 m/s) counts as not recorded and the next step is taken and named.  ``given`` marks
a reference ET that came with the file, ``hourly`` the sum of 24 whole hours (eq. 53), worked out
when the file was read.

Choices: the mean temperature is (high + low) / 2 whatever the file says (FAO-56 eq. 9); a measured
vapour pressure above saturation counts as saturation; soil heat flow is 0 over a day (eq. 42);
Rs/Rso is held in 0.3..1 and the cloud factor in 0.05..1 (pyet's rule, ASCE-EWRI 2005; FAO-56
prints the upper limit only: 0.24 mm less on a very dark day); an unknown height counts as sea
level (1,000 m change ET0 by some 2 %, on windy dry days up to 6 %); ET0 is never below 0.

Source: Allen, Pereira, Raes, Smith (1998) Crop evapotranspiration, FAO Irrigation and Drainage
Paper 56 ("FAO-56").
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from waterbudget import air, sun
from waterbudget.errors import Refused
from waterbudget.hourly import ALBEDO, hourly_et0, net_longwave_mj
from waterbudget.weather import DailyRecord

__all__ = [
    "ALBEDO", "CARRIED", "LIMITS", "MADE_CODES", "MODES", "ReferenceEt", "hourly_et0",
    "net_longwave_mj", "reference_et",
]  # fmt: skip

Values = NDArray[np.float64]

MODES = ("computed", "given", "hourly")
MADE_CODES = (
    "given", "measured", "rs_sun", "rs_trange", "ea_tmin", "ea_rhmean", "wind_assumed",
    "t_range", "temp_only", "hourly", "filled", "forecast", "stand_in",
)  # fmt: skip
"""Every code a day may carry; ``stand_in`` is set where gaps are bridged (:mod:`fill`)."""

CARRIED = ("filled", "forecast")
"""Codes of the record's own days that are passed on as they stand."""

LIMITS: dict[str, tuple[float, float]] = {
    "tmax_c": (-50.0, 60.0),
    "tmin_c": (-60.0, 50.0),
    "tmean_c": (-55.0, 50.0),
    "rh_max": (2.0, 105.0),
    "rh_min": (1.0, 105.0),
    "rh_mean": (2.0, 105.0),
    "ea_kpa": (0.01, 8.0),
    "u2_m_s": (0.0, 40.0),
    "et0_given_mm": (0.0, 20.0),
    "et0_hourly_mm": (0.0, 20.0),
}
"""Outside these a daily value is no weather (own estimate).  Humidity up to 105 % counts as 100."""

RS_SHARE_LOW, RS_SHARE_HIGH = 0.02, 1.0
"""A day's radiation as a share of that outside the air (lower end: own estimate, dead sensor)."""

SUN_SLACK_H = 0.5
"""Sunshine may exceed the worked-out day length by this much [h] (own estimate)."""

USUAL_RANGE_C = 10.0
"""Range of a day of which only the mean is known, without measured sun [degC] (own estimate)."""
LEAST_RANGE_C, MOST_RANGE_C = 3.0, 20.0
"""Bounds of a range worked out from the sun [degC] (own estimate)."""

_BITS = ("rs_sun", "rs_trange", "ea_rhmean", "ea_tmin", "wind_assumed", "t_range")


@dataclass(frozen=True)
class ReferenceEt:
    """Reference ET of unbroken days, and the inputs as they were used.

    Attributes
    ----------
    first : datetime.date
    et0_mm : ndarray, shape (days,)
        [mm/d]; NaN where it cannot be known.
    made_from : tuple of tuple of str
        For each day codes of :data:`MADE_CODES`; empty where ``et0_mm`` is NaN.
    tmax_c, tmin_c, rs_mj, u2_m_s, ea_kpa, rh_min : ndarray, shape (days,)
        [degC], [MJ/m2/d], [m/s at 2 m], [kPa], [%] as used, measured or estimated.  On a ``given``
        day only what was measured; NaN where nothing was used.
    """

    first: dt.date
    et0_mm: Values
    made_from: tuple[tuple[str, ...], ...]
    tmax_c: Values
    tmin_c: Values
    rs_mj: Values
    u2_m_s: Values
    ea_kpa: Values
    rh_min: Values

    def __len__(self) -> int:
        return len(self.et0_mm)


def reference_et(
    record: DailyRecord,
    *,
    lat: float,
    elevation_m: float | None,
    mode: str = "computed",
    wind_default_m_s: float = 2.0,
    krs: float | None = None,
) -> ReferenceEt:
    """Return the daily FAO-56 Penman-Monteith reference ET of a station's record.

    Parameters
    ----------
    record : DailyRecord
        Days may be missing anywhere.
    lat : float
        Latitude of the station [degrees], south negative.
    elevation_m : float or None
        Height of the station above the sea [m]; None counts as 0.
    mode : {"computed", "given", "hourly"}
        Which goes first where the record brings its own reference ET, or the sum of whole hours.
    wind_default_m_s : float
        Wind at 2 m on days without [m/s]; FAO-56 p. 63 takes 2.
    krs : float or None
        Coefficient of the temperature range method [degC^-0.5]; None takes 0.16 (inland).

    Raises
    ------
    Refused
        ``et0.latitude``, ``et0.setting``, ``et0.mode``.
    """
    if mode not in MODES:
        raise Refused("et0.mode", value=mode, choices=", ".join(MODES))
    height = 0.0 if elevation_m is None else elevation_m
    _inside("elevation_m", height, -430.0, 9000.0)
    _inside("default_wind_m_s", wind_default_m_s, 0.1, 20.0)
    _inside("krs", sun.KRS_INLAND if krs is None else krs, 0.05, 0.35)
    known = _looked_at(record, lat)
    ranged = _with_range(known, krs or sun.KRS_INLAND)
    inputs, bits = _complete(known, height, wind_default_m_s, krs or sun.KRS_INLAND)
    bits = bits | ranged.astype(np.int64) << 5
    computed = _penman_monteith(record.first, inputs, height)
    given = known["et0_given_mm"]
    use_given = ~np.isnan(given) & (np.isnan(computed) | ranged | (mode == "given"))
    et0 = np.where(use_given, given, computed)
    use_hours = np.isfinite(known["et0_hourly_mm"]) & (mode == "hourly")
    use_given &= ~use_hours
    et0 = np.where(use_hours, known["et0_hourly_mm"], et0)
    used = {
        name: np.where(use_given, measured_only, np.where(np.isnan(et0), np.nan, inputs[name]))
        for name, measured_only in _measured(known, bits, inputs).items()
    }
    made = _made_from(record, et0, use_given, use_hours, bits)
    return ReferenceEt(record.first, et0, made, **used)


def _inside(key: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise Refused("et0.setting", key=key, value=value, low=low, high=high)


def _looked_at(record: DailyRecord, lat: float) -> dict[str, Values]:
    """Return the record's values with what cannot be turned into NaN, plus Ra and day length."""
    n = len(record)
    seen: dict[str, Values] = {}
    for name, (low, high) in LIMITS.items():
        values = np.asarray(record.values[name], dtype=float)
        seen[name] = np.where((values >= low) & (values <= high), values, np.nan)
    unusable = seen["tmax_c"] <= seen["tmin_c"]
    for name in ("tmax_c", "tmin_c"):
        seen[name] = np.where(unusable, np.nan, seen[name])
    crossed = seen["rh_max"] < seen["rh_min"]
    for name in ("rh_max", "rh_min", "rh_mean"):
        values = np.minimum(seen[name], 100.0)
        seen[name] = values if name == "rh_mean" else np.where(crossed, np.nan, values)
    wet = seen["ea_kpa"] > air.saturation_kpa(seen["tmax_c"])
    seen["ea_kpa"] = np.where(wet, np.nan, seen["ea_kpa"])
    j = sun.days_of_year(record.first, n)
    seen["ra_mj"] = np.broadcast_to(sun.extraterrestrial_mj(lat, j), (n,))
    seen["day_h"] = np.broadcast_to(sun.day_length_h(lat, j), (n,))
    rs = np.asarray(record.values["rs_mj"], dtype=float)
    fits = (rs >= RS_SHARE_LOW * seen["ra_mj"]) & (rs <= RS_SHARE_HIGH * seen["ra_mj"])
    seen["rs_mj"] = np.where(fits, rs, np.nan)
    sun_h = np.asarray(record.values["sun_h"], dtype=float)
    fits = (sun_h >= 0.0) & (sun_h <= seen["day_h"] + SUN_SLACK_H)
    seen["sun_h"] = np.where(fits, sun_h, np.nan)
    return seen


def _with_range(known: dict[str, Values], krs: float) -> NDArray[np.bool_]:
    """Give days of which only the mean is known a low and a high; return which days."""
    high, low, mean = known["tmax_c"], known["tmin_c"], known["tmean_c"]
    with np.errstate(invalid="ignore", divide="ignore"):
        by_sun = (known["rs_mj"] / (krs * known["ra_mj"])) ** 2  # FAO-56 eq. 50 turned round
        one = np.where(np.isnan(high), 2.0 * (mean - low), 2.0 * (high - mean))
        one = np.where(one > 0.0, one, np.nan)
    usual = np.full_like(mean, USUAL_RANGE_C)
    spread = np.clip(_first_known(by_sun, usual)[0], LEAST_RANGE_C, MOST_RANGE_C)
    spread = np.where(np.isnan(one), spread, one)
    lacking = (np.isnan(high) | np.isnan(low)) & np.isfinite(mean)
    known["tmax_c"] = np.where(lacking, mean + spread / 2.0, high)
    known["tmin_c"] = np.where(lacking, mean - spread / 2.0, low)
    return lacking


def _first_known(*steps: Values) -> tuple[Values, NDArray[np.int64]]:
    """Return for each day the first step that is known, and which one it was (last where none)."""
    stack = np.stack(steps)
    which = np.where(np.isnan(stack), len(steps) - 1, np.arange(len(steps))[:, None]).min(axis=0)
    return np.take_along_axis(stack, which[None], axis=0)[0], which


def _complete(
    known: dict[str, Values], height: float, wind_default: float, krs: float
) -> tuple[dict[str, Values], NDArray[np.int64]]:
    """Walk the ladder: complete inputs for each day with temperatures, and what was estimated."""
    tmax, tmin, ra = known["tmax_c"], known["tmin_c"], known["ra_mj"]
    rso = sun.clear_sky_mj(ra, height)
    rs, rs_step = _first_known(
        known["rs_mj"],
        sun.radiation_from_sunshine(ra, known["sun_h"], known["day_h"]),
        np.minimum(sun.radiation_from_range(ra, tmax, tmin, krs), rso),
    )
    ea, ea_step = _first_known(
        known["ea_kpa"],
        air.ea_from_rh(tmax, tmin, known["rh_max"], known["rh_min"]),
        air.ea_from_rh_max(tmin, known["rh_max"]),
        air.ea_from_rhmean(tmax, tmin, known["rh_mean"]),
        air.ea_from_dew(tmin),
    )
    ea = np.minimum(ea, air.mean_saturation_kpa(tmax, tmin))
    wind, wind_step = _first_known(known["u2_m_s"], np.full_like(tmax, wind_default))
    rh_min, _ = _first_known(known["rh_min"], air.rh_min_from_ea(ea, tmax))
    bits = (rs_step == 1) | (rs_step == 2) << 1
    bits = bits | (ea_step == 3) << 2 | (ea_step == 4) << 3 | (wind_step == 1) << 4
    inputs = {"tmax_c": tmax, "tmin_c": tmin, "rs_mj": rs, "u2_m_s": wind, "ea_kpa": ea,
              "rh_min": rh_min, "rso_mj": rso}  # fmt: skip
    return inputs, bits.astype(np.int64)


def _measured(
    known: dict[str, Values], bits: NDArray[np.int64], inputs: dict[str, Values]
) -> dict[str, Values]:
    """Return the inputs of a given day: measured ones only."""
    ea_known = (bits & 0b01000) == 0
    return {
        "tmax_c": known["tmax_c"],
        "tmin_c": known["tmin_c"],
        "rs_mj": known["rs_mj"],
        "u2_m_s": known["u2_m_s"],
        "ea_kpa": np.where(ea_known, inputs["ea_kpa"], np.nan),
        "rh_min": np.where(ea_known, inputs["rh_min"], known["rh_min"]),
    }


def _penman_monteith(first: dt.date, inputs: dict[str, Values], height: float) -> Values:
    """Hand the complete days to pyet on one index; NaN on the others.

    Radiation and clear sky are our own, so pyet never sees a latitude (it wants radians).
    """
    names = ("tmax_c", "tmin_c", "rs_mj", "u2_m_s", "ea_kpa", "rso_mj")
    whole = np.all([np.isfinite(inputs[name]) for name in names], axis=0)
    et0 = np.full(len(whole), np.nan)
    if not whole.any():
        return et0
    import pandas as pd  # heavy: only when a day is computed
    import pyet

    days = np.datetime64(first, "D") + np.flatnonzero(whole)
    index = pd.DatetimeIndex(days.astype("datetime64[ns]"))
    series = {name: pd.Series(inputs[name][whole], index=index) for name in names}
    et0[whole] = pyet.pm_fao56(
        tmean=(series["tmax_c"] + series["tmin_c"]) / 2.0,
        tmax=series["tmax_c"],
        tmin=series["tmin_c"],
        rs=series["rs_mj"],
        rso=series["rso_mj"],
        wind=series["u2_m_s"],
        ea=series["ea_kpa"],
        elevation=height,
        albedo=ALBEDO,
    ).to_numpy()
    return et0


def _words(bits: int) -> tuple[str, ...]:
    """Return the codes of the estimated inputs."""
    parts = tuple(code for i, code in enumerate(_BITS) if bits >> i & 1)
    lone = ("rs_trange", "ea_tmin", "wind_assumed")
    return ("temp_only", *parts[3:]) if parts[:3] == lone else parts


_WORDS = tuple(_words(bits) for bits in range(1 << len(_BITS)))


def _made_from(
    record: DailyRecord,
    et0: Values,
    use_given: NDArray[np.bool_],
    use_hours: NDArray[np.bool_],
    bits: NDArray[np.int64],
) -> tuple[tuple[str, ...], ...]:
    known = ~np.isnan(et0)
    made = [
        () if not k else ("given",) if g else ("hourly",) if h else _WORDS[b] or ("measured",)
        for k, g, h, b in zip(
            known.tolist(), use_given.tolist(), use_hours.tolist(), bits.tolist(), strict=True
        )
    ]
    for date, flags in record.flags.items():
        carried = tuple(code for code in CARRIED if code in flags)
        i = (date - record.first).days
        if carried and 0 <= i < len(made) and made[i]:
            made[i] = (*(() if made[i] == ("measured",) else made[i]), *carried)
    return tuple(made)
