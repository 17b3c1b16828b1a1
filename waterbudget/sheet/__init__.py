"""The week and the other answers as rows of numbers and codes, ready for screen, paper and JSON.

Rounding rule of the printed week: the sets are whole quarter hours that carry the remainder
forward; a set's depth and volume are those of its rounded hours, so the printed sets of a block
add up to its printed hours.  ``net_mm``, ``gross_mm``, ``m3``, ``litres_per_tree`` and
``hours_exact`` are the need itself, read from the one simulated run.  On paper the volumes of a
person's lines are rounded one after the other so that they add up to the rounded sum.
"""

from waterbudget.sheet.answers import (
    DRY_AHEAD_DAYS,
    RECORD_COLUMNS,
    balance_rows,
    dry,
    et0_rows,
    record_rows,
)
from waterbudget.sheet.dials import Stop
from waterbudget.sheet.fielddays import days_kept_dry, field_days, field_flags, field_note, job_row
from waterbudget.sheet.ran import RAN_COLUMNS, flow_note, ran_list
from waterbudget.sheet.valves import (
    DRY,
    SET_COLUMNS,
    DayMark,
    Sheet,
    SheetLine,
    in_order,
    people,
    set_rows,
    valve_sheets,
)
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
    "DRY", "DRY_AHEAD_DAYS", "RAN_COLUMNS", "RECORD_COLUMNS", "SET_COLUMNS", "WEEK_COLUMNS",
    "DayMark", "Sheet", "SheetLine", "Stop", "WeekRow", "balance_rows", "days_kept_dry", "dry",
    "et0_rows", "field_days", "field_flags", "field_note", "flags", "flow_note", "in_order",
    "job_row", "made_with", "people", "ran_list", "record_rows", "set_rows", "stage_rank",
    "totals", "valve_sheets", "week", "week_row", "week_rows", "why",
]  # fmt: skip
