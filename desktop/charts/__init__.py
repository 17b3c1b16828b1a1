"""Plots drawn with QPainter: a block's cycle, and a station's years and days.

Charts draw plain data out of :mod:`desktop.models` and know no session; pages connect their
signals.  Colours come from :mod:`desktop.theme` when a chart paints.
"""

from desktop.charts.cycle import CycleChart
from desktop.charts.strip import CycleStrip

__all__ = ["CycleChart", "CycleStrip"]
