"""Hand tools of the map, all of them by name.

``handtool`` says what a tool is; ``paths`` sets corners one after the other, and ``drawing``,
``split`` and ``measure`` say what becomes of them; ``corners`` changes the outline of the chosen
block; ``snapping`` lets corners and edges of neighbours pull the pointer.
"""

from desktop.mapview.corners import CornerTool
from desktop.mapview.drawing import DrawTool, HoleTool
from desktop.mapview.handtool import Tool, paint_handle
from desktop.mapview.measure import MeasureTool
from desktop.mapview.paths import PathTool
from desktop.mapview.split import SplitTool

__all__ = [
    "CornerTool", "DrawTool", "HoleTool", "MeasureTool", "PathTool", "SplitTool", "Tool",
    "paint_handle",
]  # fmt: skip
