"""Plots drawn with QPainter: a block's cycle, and a station's years and days.

Charts draw plain data out of :mod:`desktop.models` and know no session; pages connect their
signals.  Colours come from :mod:`desktop.theme` when a chart paints.
"""

from desktop.charts.cycle import CycleChart
from desktop.charts.ink import past_ink
from desktop.charts.station_days import StationDays
from desktop.charts.strip import CycleStrip
from desktop.charts.years import YearStrips

__all__ = ["CycleChart", "CycleStrip", "StationDays", "YearStrips", "past_ink"]
