"""Tree places inside a block: patterns, rows and numbers, marks, pegs, files, comparison.

``model`` says what a layout and what a planting is; ``straight`` lays square, rectangle and
triangle, ``contour`` lays rows along the contour; ``lay`` chooses between them and knows a block;
``marks`` counts what lives; ``pegs`` and ``files`` carry it to the field; ``compare`` sets
layouts side by side.
"""

from waterbudget.planting.compare import LayoutFigures, figures_of
from waterbudget.planting.files import mark_lines, write_csv, write_geojson, write_gpx
from waterbudget.planting.lay import count_places, layout_of, longest_side_deg, set_out
from waterbudget.planting.marks import Counts, count_states, is_set_out, latest, living_trees
from waterbudget.planting.model import PATTERNS, Ground, Layout, Planting
from waterbudget.planting.pegs import Peg, PegRow, peg_rows

__all__ = [
    "PATTERNS", "Counts", "Ground", "Layout", "LayoutFigures", "Peg", "PegRow", "Planting",
    "count_places", "count_states", "figures_of", "is_set_out", "latest", "layout_of",
    "living_trees", "longest_side_deg", "mark_lines", "peg_rows", "set_out", "write_csv",
    "write_geojson", "write_gpx",
]  # fmt: skip
