"""Which station a block reads: its own, the farm's, the nearest by distance and height."""

from __future__ import annotations

import pytest
from orchard_samples import block, farm, record
from shapely.geometry import box

from waterbudget import season, sheet
from waterbudget.orchard import Station
from waterbudget.outlines import from_lonlat
from waterbudget.season.stations import choose, neighbours

LAT, LON = -19.9, 32.7


def station(name, number, north_km=None, elevation_m=None):
    """A station so many kilometres north of the farm (1 km is 0.00904 degrees there)."""
    placed = {} if north_km is None else {"lat": LAT + north_km * 0.00904, "lon": LON}
    return Station(name=name, id=number, elevation_m=elevation_m, **placed)


def outline(north_km):
    """A hectare so far north of the farm."""
    from shapely.geometry import Point

    middle = from_lonlat(Point(LON, LAT + north_km * 0.00904), 32736)
    return box(middle.x - 50, middle.y - 50, middle.x + 50, middle.y + 50)


def orchard(*stations, **changed):
    return farm(stations=stations, **changed).orchard


SOUTH, NORTH = station("South", 1, -3.0, 900.0), station("North", 2, 3.0, 900.0)


@pytest.mark.parametrize(
    ("changed", "farms", "name", "how"),
    [
        ({"station": "south"}, None, "South", "own"),
        ({}, "North", "North", "farm"),
        ({"station": "South"}, "North", "South", "own"),
        ({"outline": outline(1.0)}, None, "North", "nearest"),
        ({"outline": outline(-1.0)}, None, "South", "nearest"),
    ],
)
def test_own_then_the_farms_then_the_nearest(changed, farms, name, how):
    found = choose(block(**changed), orchard(SOUTH, NORTH, default_station=farms))
    assert (found.station.name, found.how) == (name, how)


def test_a_hundred_metres_of_height_count_as_a_kilometre():
    """Two kilometres nearer but 500 m lower: the far one on the same shelf is read."""
    low, far = station("Low", 1, 1.0, 400.0), station("Far", 2, 4.0, 900.0)
    high = block(outline=outline(0.0), elevation_m=900.0)
    assert choose(high, orchard(low, far)).station.name == "Far"
    assert choose(block(outline=outline(0.0)), orchard(low, far)).station.name == "Low"
    lower = station("Low", 1, 1.0, 650.0)  # 1 km and 250 m: 3.5 against 4
    assert choose(high, orchard(lower, far)).station.name == "Low"


def test_without_an_outline_the_place_of_the_farm_counts():
    assert choose(block(), orchard(station("Far", 1, 9.0), NORTH)).station.name == "North"


def test_a_station_without_a_position_is_never_the_nearest_and_none_means_the_first():
    lost = station("Lost", 1)
    assert choose(block(), orchard(lost, NORTH)).station.name == "North"
    found = choose(block(), orchard(lost, station("Other", 2)))
    assert (found.station.name, found.how) == ("Lost", "first")
    assert choose(block(), orchard(lost)) == (lost, "only")
    assert choose(block(), orchard()).station is None


def test_neighbours_come_nearest_first_and_unplaced_ones_last():
    lost, far = station("Lost", 3), station("Far", 4, 20.0)
    names = [s.name for s in neighbours(SOUTH, orchard(lost, far, SOUTH, NORTH))]
    assert names == ["North", "Far", "Lost"]
    assert [s.name for s in neighbours(lost, orchard(far, lost, SOUTH))] == ["Far", "South"]


def test_each_block_runs_on_its_nearest_station_and_the_week_names_it():
    records = {"South": record(et0=3.0), "North": record(et0=6.0)}
    blocks = (block("A", 1, outline=outline(-2.0)), block("B", 2, outline=outline(2.0)),
              block("C", 3, station="South"))  # fmt: skip
    run = season.run(farm(*blocks, stations=(SOUTH, NORTH), records=records))
    made = sheet.made_with(run)["block_stations"]
    assert made == {"A": "South", "B": "North", "C": "South"}
    rows = {r.values["block"]: r.values for r in sheet.week_rows(run)}
    assert [rows[n]["et0_mm"] / 7 for n in "ABC"] == pytest.approx([3.0, 6.0, 3.0])
    assert ["station_nearest" in rows[n]["flags"] for n in "ABC"] == [True, True, False]


def test_a_station_that_is_moved_feeds_other_blocks_through_the_cache():
    kept = season.Cache()
    records = {"South": record(et0=3.0), "North": record(et0=6.0)}
    one = block("A", 1, outline=outline(-2.0))
    season.run(farm(one, stations=(SOUTH, NORTH), records=records), cache=kept)
    moved = (station("South", 1, 30.0, 900.0), NORTH)
    after = season.run(farm(one, stations=moved, records=records), cache=kept)
    assert after.blocks[0].station == "North"
