"""Every user action once: open, check, compute, one transaction.

The command line and the window call the same functions.  Each takes an open
:class:`~waterbudget.store.FarmFile` and ``now`` (the caller reads the clock), stores everything or
nothing, and raises :class:`~waterbudget.errors.Refused` or
:class:`~waterbudget.errors.AnswersNeeded` with codes and fields.
"""

from waterbudget.actions.blocks import (
    delete_block,
    draw_block,
    import_blocks_csv,
    rename_block,
    restore_block,
    set_block,
    set_outline,
)
from waterbudget.actions.checks import (
    accept_flag,
    accept_flags,
    accept_others,
    correct_day,
    correct_days,
    days_to_check,
    drop_correction,
)
from waterbudget.actions.farm import (
    check,
    copy_name,
    new_farm,
    save_copy,
    set_farm,
    set_station,
)
from waterbudget.actions.files import recognise
from waterbudget.actions.needs import Need, needs
from waterbudget.actions.outlines import OutlinesDone, import_outlines
from waterbudget.actions.ran import RanDone, enter_day, enter_ran, import_ran
from waterbudget.actions.readings import (
    FactorChange,
    ReadingsDone,
    accept_factor,
    enter_reading,
    factor_changes,
    import_readings,
    put_readings,
    remove_reading,
)
from waterbudget.actions.weather import (
    WeatherDone,
    import_weather,
    type_rain,
    type_temperatures,
)
from waterbudget.actions.week import hand_out, pin, pin_days, take_back

__all__ = [
    "FactorChange", "Need", "OutlinesDone", "RanDone", "ReadingsDone", "WeatherDone",
    "accept_factor", "accept_flag", "accept_flags", "accept_others", "check", "copy_name",
    "correct_day", "correct_days", "days_to_check", "delete_block", "draw_block",
    "drop_correction", "enter_day", "enter_ran", "enter_reading", "factor_changes", "hand_out",
    "import_blocks_csv", "import_outlines", "import_ran", "import_readings", "import_weather",
    "needs", "new_farm", "pin", "pin_days", "put_readings", "recognise", "remove_reading",
    "rename_block", "restore_block", "save_copy", "set_block", "set_farm", "set_outline",
    "set_station", "take_back", "type_rain", "type_temperatures",
]  # fmt: skip
