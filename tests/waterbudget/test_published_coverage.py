"""Which published checks are covered where: every entry stands in coverage.csv, and is there.

``where`` names rows (``table.csv#column=value``) and tests (``test_file.py::test_name``).
"""

from pathlib import Path

import pytest
from published_tables import PUBLISHED, rows

HERE = Path(__file__).parent
ENTRIES = rows("coverage")
TESTS = {path.name: path.read_text(encoding="utf-8") for path in HERE.glob("test_*.py")}
TESTS["measured_grass.py"] = (HERE / "measured_grass.py").read_text(encoding="utf-8")


def test_every_entry_once_with_a_state_and_a_reason():
    ids = [r["id"] for r in ENTRIES]
    assert len(ids) == len(set(ids)) == 88
    for row in ENTRIES:
        assert row["state"] in ("covered", "in part", "not applicable"), row
        assert bool(row["where"]) == (row["state"] != "not applicable"), row
        assert row["why"] or row["state"] == "covered", row
    assert sum(r["state"] == "not applicable" for r in ENTRIES) <= 13


PLACES = sorted({(r["id"], place) for r in ENTRIES for place in r["where"].split(";") if place})


@pytest.mark.parametrize("entry, place", PLACES, ids=lambda x: x)
def test_the_place_is_there_and_is_tested(entry, place):
    if "::" in place:
        file, name = place.split("::")
        assert f"def {name}(" in TESTS[file]
        return
    file, _, wanted = place.partition("#")
    table = rows(file.removesuffix(".csv"))
    column, _, value = wanted.partition("=")
    found = [r for r in table if not wanted or r[column] == value]
    found = [r for r in found if r.get("tolerance") != "skip"]
    assert found, "no row left to be held against"
    stem = file.removesuffix(".csv")
    assert any(f'"{stem}"' in text or f"{stem}.csv" in text for text in TESTS.values()), stem


def test_no_table_of_printed_values_is_forgotten():
    """A table nobody reads tests nothing."""
    for path in PUBLISHED.glob("*.csv"):
        if path.stem != "coverage":
            names = (f'"{path.stem}"', f"{path.stem}.csv")
            texts = [p.read_text(encoding="utf-8") for p in HERE.rglob("*.py")]
            assert any(name in text for text in texts for name in names), path.name


def test_every_printed_value_says_where_it_stands():
    for path in PUBLISHED.glob("*.csv"):
        if path.stem in ("coverage", "us_ar1_daily", "geodesic_polygon"):
            continue
        for row in rows(path.stem):
            assert row["source"], (path.name, row)
            assert row["status"] in (
                "READ", "READ-2ND", "MEMORY", "MEMORY+CODE", "GEOMETRY"
            ), (path.name, row)  # fmt: skip
