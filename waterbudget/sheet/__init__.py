"""The week and the other answers as rows of numbers and codes, ready for screen, paper and JSON.

Rounding rule of the printed week: the sets are whole quarter hours that carry the remainder
forward; a set's depth and volume are those of its rounded hours, so the printed sets of a block
add up to its printed hours.  ``net_mm``, ``gross_mm``, ``m3``, ``litres_per_tree`` and
``hours_exact`` are the need itself, read from the one simulated run.
"""

from waterbudget.sheet.answers import (
    DRY_AHEAD_DAYS,
    RECORD_COLUMNS,
    balance_rows,
    dry,
    et0_rows,
    record_rows,
)
from waterbudget.sheet.valves import Sheet, SheetLine, valve_sheets
from waterbudget.sheet.week import (
    WEEK_COLUMNS,
    WeekRow,
    flags,
    made_with,
    stage_rank,
    totals,
    week,
    week_row,
    week_rows,
    why,
)

__all__ = [
    "DRY_AHEAD_DAYS", "RECORD_COLUMNS", "WEEK_COLUMNS", "Sheet", "SheetLine", "WeekRow",
    "balance_rows", "dry", "et0_rows", "flags", "made_with", "record_rows", "stage_rank",
    "totals", "valve_sheets", "week", "week_row", "week_rows", "why",
]  # fmt: skip
