"""The map: canvas, hand tools, names, legend, lines of equal height.

``camera`` turns metres into pixels, ``shapes`` makes outlines ready to draw, ``looks`` paints one
block, ``plates`` finds room for the names, ``contours`` traces a height file, ``ground``
reads what lies under the blocks into ``layers``, ``backdrop`` lays tiles of them (and of the
blocks of a large farm, a ``scene``) that a ``workshop`` thread paints, ``names`` their names,
``overlay`` paints what lies over them, ``canvas`` puts them together, ``tools`` draws and changes
outlines, ``pointing`` hears pinches and boxes, ``panel`` is what the home page shows,
``workbench`` the tools of the land page by their words.
"""

from desktop.mapview.canvas import MapCanvas
from desktop.mapview.legend import Legend
from desktop.mapview.looks import days_word, look_word, paint_bar, swatch
from desktop.mapview.overlay import MapBlock
from desktop.mapview.panel import MapPanel

__all__ = [
    "Legend", "MapBlock", "MapCanvas", "MapPanel", "days_word", "look_word", "paint_bar", "swatch",
]  # fmt: skip
