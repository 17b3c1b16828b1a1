"""Hours written whole with their zone behind them, as many national services write them."""

from __future__ import annotations

import pytest

from waterbudget.weather import read_weather


@pytest.mark.parametrize("zone", ["UTC", "GMT", "Z"])
def test_hours_with_a_zone_behind_them_become_local_days(zone: str) -> None:
    rows = ["Data;Hora Medicao;Precipitacao (mm);Temp (C)"]
    for day in (1, 2, 3):
        rows += [
            f"2025-03-0{day};{hour:02d}00 {zone};{'5,0' if hour == 22 else '0,0'};{15 + hour},0"
            for hour in range(24)
        ]
    text = "\n".join(rows) + "\n"
    done = read_weather(
        text.encode(), name="hours.csv", time_zone="Africa/Harare", answers={"stamp": "start"}
    )
    rain = {d.date.isoformat(): d.values.get("rain_mm") for d in done.days}
    # 22:00 in UTC is midnight two hours east of it, so the rain belongs to the day after
    assert rain["2025-03-02"] == 5.0
    assert rain["2025-03-03"] == 5.0
