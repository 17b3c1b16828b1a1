"""Station series in the classic NetCDF form (CDF-1, CDF-2, CDF-5) with CF names.

Read with numpy alone, after the published file format (Unidata, "NetCDF Classic Format
Specification", from memory) and the CF conventions (time units, ``_FillValue``,
``scale_factor``, standard names).  The newer form (NetCDF-4, which is HDF5) needs a further
package and is refused with what to save instead.
"""

from __future__ import annotations

import datetime as dt
import re
import struct
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waterbudget.errors import Refused
from waterbudget.weather.table import Table

_TYPES = {1: "i1", 2: "S1", 3: ">i2", 4: ">i4", 5: ">f4", 6: ">f8",
          7: "u1", 8: ">u2", 9: ">u4", 10: ">i8", 11: ">u8"}  # fmt: skip
_SECONDS = {"s": 1.0, "sec": 1.0, "second": 1.0, "min": 60.0, "minute": 60.0, "h": 3600.0,
            "hr": 3600.0, "hour": 3600.0, "d": 86400.0, "day": 86400.0}  # fmt: skip
_CALENDARS = ("", "standard", "gregorian", "proleptic_gregorian")
_STANDARD = {
    "air_temperature": "Temp", "dew_point_temperature": "Dew point", "relative_humidity": "RH",
    "wind_speed": "Wind speed", "precipitation_amount": "Rain",
    "thickness_of_rainfall_amount": "Rain",
    "lwe_thickness_of_precipitation_amount": "Rain", "rainfall_amount": "Rain",
    "precipitation_flux": "Rain", "rainfall_flux": "Rain", "lwe_precipitation_rate": "Rain",
    "surface_downwelling_shortwave_flux_in_air": "Solar radiation",
    "surface_downwelling_shortwave_flux": "Solar radiation",
    "integral_wrt_time_of_surface_downwelling_shortwave_flux_in_air": "Solar radiation",
    "duration_of_sunshine": "Sunshine", "water_vapor_partial_pressure_in_air": "Vapour pressure",
    "water_potential_evapotranspiration_amount": "ET0",
}  # fmt: skip
_BY_NAME = {"tasmax": "Tmax", "tasmin": "Tmin", "tas": "Temp", "pr": "Rain", "hurs": "RH",
            "hursmax": "RH max", "hursmin": "RH min", "sfcwind": "Wind speed 10 m",
            "rsds": "Solar radiation"}  # fmt: skip


@dataclass
class Variable:
    """One variable of a file."""

    name: str
    dims: tuple[str, ...]
    attrs: dict[str, Any]
    values: NDArray[Any]


@dataclass
class _Bytes:
    data: bytes
    wide: bool
    big_offsets: bool
    at: int = 4
    dims: list[tuple[str, int]] = field(default_factory=list)

    def number(self) -> int:
        size, form = (8, ">q") if self.wide else (4, ">i")
        (value,) = struct.unpack_from(form, self.data, self.at)
        self.at += size
        return int(value)

    def tag(self) -> int:
        (value,) = struct.unpack_from(">i", self.data, self.at)
        self.at += 4
        return int(value)

    def text(self) -> str:
        n = self.number()
        raw = self.data[self.at : self.at + n]
        self.at += (n + 3) // 4 * 4
        return raw.decode("utf-8", errors="replace")

    def attributes(self) -> dict[str, Any]:
        found: dict[str, Any] = {}
        self.tag()
        for _ in range(self.number()):
            name = self.text()
            kind = self.tag()
            n = self.number()
            dtype = np.dtype(_TYPES[kind])
            raw = self.data[self.at : self.at + n * dtype.itemsize]
            self.at += (n * dtype.itemsize + 3) // 4 * 4
            if kind == 2:
                found[name] = raw.decode("utf-8", errors="replace").rstrip("\x00")
            else:
                values = np.frombuffer(raw, dtype)
                found[name] = values[0].item() if len(values) == 1 else values
        return found

    def offset(self) -> int:
        form, size = (">q", 8) if self.big_offsets else (">i", 4)
        (value,) = struct.unpack_from(form, self.data, self.at)
        self.at += size
        return int(value)


def read_variables(data: bytes, name: str) -> dict[str, Variable]:
    """Return the variables of a classic NetCDF file.

    Raises
    ------
    Refused
        ``weather.netcdf_broken`` for a file that ends early or makes no sense.
    """
    try:
        return _variables(data)
    except (struct.error, ValueError, KeyError, IndexError, OverflowError, TypeError):
        raise Refused("weather.netcdf_broken", name=name) from None


def _variables(data: bytes) -> dict[str, Variable]:
    version = data[3]
    if version not in (1, 2, 5):
        raise ValueError(version)
    b = _Bytes(data, version == 5, version != 1)
    records = b.number()
    b.tag()
    for _ in range(b.number()):
        name = b.text()
        b.dims.append((name, b.number()))
    b.attributes()
    b.tag()
    heads = []
    for _ in range(b.number()):
        name = b.text()
        ids = [b.number() for _ in range(b.number())]
        attrs = b.attributes()
        kind, size, begin = b.tag(), b.number(), b.offset()
        heads.append((name, ids, attrs, np.dtype(_TYPES[kind]), size, begin))
    by_record = [h for h in heads if h[1] and b.dims[h[1][0]][1] == 0]
    record_size = sum(h[4] for h in by_record)
    if len(by_record) == 1:
        ids, dtype = by_record[0][1], by_record[0][3]
        record_size = int(np.prod([b.dims[i][1] for i in ids[1:]], dtype=int)) * dtype.itemsize
    if records < 0 and record_size:
        records = (len(data) - min(h[5] for h in by_record)) // record_size
    found = {}
    for name, ids, attrs, dtype, _, begin in heads:
        shape = tuple(b.dims[i][1] for i in ids)
        if ids and shape[0] == 0:
            count = int(np.prod(shape[1:], dtype=int))
            rows = [
                np.frombuffer(data, dtype, count, begin + r * record_size) for r in range(records)
            ]
            values = np.array(rows, dtype=dtype).reshape((records, *shape[1:]))
        else:
            count = int(np.prod(shape, dtype=int)) if shape else 1
            values = np.frombuffer(data, dtype, count, begin).reshape(shape)
        found[name] = Variable(name, tuple(b.dims[i][0] for i in ids), attrs, values)
    return found


def _moments(time: Variable, name: str) -> tuple[list[dt.datetime], bool]:
    """Return the moments of the time axis, and whether they carry hours."""
    units = str(time.attrs.get("units", ""))
    calendar = str(time.attrs.get("calendar", "")).lower()
    found = re.match(
        r"\s*(\w+?)s?\s+since\s+(\d{1,4})-(\d{1,2})-(\d{1,2})(?:[T\s]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?",
        units,
    )
    if calendar not in _CALENDARS or not found or found.group(1).lower() not in _SECONDS:
        raise Refused(
            "weather.netcdf_time", name=name, units=units or "-", calendar=calendar or "-"
        )
    parts = [int(p or 0) for p in found.groups()[1:]]
    start = dt.datetime(parts[0], parts[1], parts[2], parts[3], parts[4], parts[5])
    factor = _SECONDS[found.group(1).lower()]
    seconds = np.asarray(time.values, dtype=float).ravel() * factor
    moments = [start + dt.timedelta(seconds=round(s)) for s in seconds.tolist()]
    return moments, len({m.time() for m in moments}) > 1


def _numbers(v: Variable) -> NDArray[np.float64]:
    values = np.asarray(v.values, dtype=float)
    gone = np.zeros(values.shape, dtype=bool)
    for key in ("_FillValue", "missing_value"):
        if key in v.attrs and not isinstance(v.attrs[key], str):
            gone |= np.isin(values, np.atleast_1d(np.asarray(v.attrs[key], dtype=float)))
    gone |= np.abs(values) > 9e35
    values = values * float(v.attrs.get("scale_factor", 1.0)) + float(
        v.attrs.get("add_offset", 0.0)
    )
    return np.where(gone, np.nan, values)


def _header(v: Variable, variables: dict[str, Variable]) -> tuple[str, str, float]:
    """Return the plain header, its unit and a factor for one variable."""
    standard = str(v.attrs.get("standard_name", ""))
    base = _STANDARD.get(standard) or _BY_NAME.get(v.name.lower()) or v.name
    method = str(v.attrs.get("cell_methods", "")).lower()
    stat = "max" if "maximum" in method else "min" if "minimum" in method else ""
    if base in ("Temp", "RH", "Wind speed") and stat:
        base = f"{base} {stat}"
    if base.startswith("Wind speed") and "10" not in base:
        for c in str(v.attrs.get("coordinates", "")).split():
            if c in variables and c.startswith("height") and variables[c].values.size == 1:
                base = f"{base} {float(variables[c].values.ravel()[0]):g} m"
    unit, factor = str(v.attrs.get("units", "")), 1.0
    squeezed = re.sub(r"[\s^*.]", "", unit)
    if squeezed in ("kgm-2s-1", "mms-1", "mm/s", "kg/m2/s"):
        unit, factor = "mm", 86400.0
    elif squeezed == "ms-1" and base == "Rain":
        unit, factor = "mm", 86400000.0
    elif squeezed in ("1", "") and base.startswith("RH"):
        unit = ""
    elif squeezed == "m" and base == "Rain":
        unit, factor = "mm", 1000.0
    return base, unit, factor


def read_tables(data: bytes, name: str) -> dict[str, Table]:
    """Return one table for each station of a CF-NetCDF file.

    Raises
    ------
    Refused
        ``weather.netcdf_broken``, ``weather.netcdf_time``, ``weather.netcdf_no_series``.
    """
    variables = read_variables(data, name)
    time = next((v for v in variables.values() if v.attrs.get("standard_name") == "time"
                 or v.name.lower() == "time"), None)  # fmt: skip
    if time is None or len(time.dims) != 1:
        raise Refused("weather.netcdf_no_series", name=name)
    moments, hours = _moments(time, name)
    stamp = "time UTC" if hours else "date"
    form = "%Y-%m-%d %H:%M" if hours else "%Y-%m-%d"
    texts = [m.strftime(form) for m in moments]
    names, units, columns = [stamp], [""], []
    axis = time.dims[0]
    for v in variables.values():
        if v is time or axis not in v.dims or v.values.dtype.kind == "S" or "bnds" in v.name:
            continue
        base, unit, factor = _header(v, variables)
        values = np.moveaxis(_numbers(v), v.dims.index(axis), 0).reshape(len(texts), -1) * factor
        if factor == 86400.0 and hours:
            values = values / 86400.0 * _step_seconds(moments)
        names.append(base)
        units.append(unit)
        columns.append(values)
    if not columns:
        raise Refused("weather.netcdf_no_series", name=name)
    stations = max(c.shape[1] for c in columns)
    if stations > 40:
        raise Refused("weather.netcdf_no_series", name=name)
    tables = {}
    for s in range(stations):
        picked = [c[:, min(s, c.shape[1] - 1)] for c in columns]
        rows = [[t, *("" if np.isnan(x) else repr(round(float(x), 6)) for x in row)]
                for t, row in zip(texts, np.stack(picked, axis=1), strict=True)]  # fmt: skip
        raw = [", ".join(names), *(", ".join(r) for r in rows)]
        table = Table(
            list(names), list(units), rows, list(range(2, len(rows) + 2)), raw, "NetCDF", True
        )
        tables[f"station {s + 1}" if stations > 1 else ""] = table
    return tables


def _step_seconds(moments: list[dt.datetime]) -> float:
    steps = np.diff([m.timestamp() for m in moments])
    return float(np.median(steps)) if len(steps) else 86400.0
