"""Station records: read any sensible file, say what was found, never guess in silence.

The door of this package: :func:`read_weather` turns the bytes of a file into days,
:func:`compare` sets new days against stored ones, :class:`DailyRecord` lays days out as arrays.
Start with :mod:`waterbudget.weather.reader` to see the order of the work; the rules of each
step stand in the first lines of its module.
"""

from waterbudget.weather.reader import read_weather
from waterbudget.weather.record import COLUMNS, HOURLY_NEEDS, HOURLY_SUM, DailyRecord, Day
from waterbudget.weather.result import Comparison, Flagged, WeatherFile, compare

__all__ = [
    "COLUMNS",
    "HOURLY_NEEDS",
    "HOURLY_SUM",
    "Comparison",
    "DailyRecord",
    "Day",
    "Flagged",
    "WeatherFile",
    "compare",
    "read_weather",
]
