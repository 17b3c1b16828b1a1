"""The commands terrain and flow."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from waterbudget import demo
from waterbudget.cli import main

HILL = str(Path(__file__).parents[3] / "sample_maps" / "hillside.tif")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    import datetime as dt

    path = tmp_path_factory.mktemp("estate") / "estate.gpkg"
    demo.build(path, now=dt.datetime.combine(demo.DEMO_DATE, dt.time(7))).close()
    return path


@pytest.fixture
def farm(built: Path, tmp_path: Path) -> str:
    return str(Path(tmp_path / "estate.gpkg").write_bytes(built.read_bytes()) and
               tmp_path / "estate.gpkg")  # fmt: skip


@pytest.fixture
def ask(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    def run(*words: str) -> tuple[int, str, str]:
        code = main(list(words))
        out = capsys.readouterr()
        return code, out.out, out.err

    return run


def test_terrain_looks_and_stores(farm: str, ask: Callable[..., tuple[int, str, str]]) -> None:
    code, out, _ = ask("terrain", farm, HILL)
    assert code == 0
    assert "Nothing stored" in out and "terracing" in out and "one pump" in out
    code, out, _ = ask("terrain", farm, HILL, "--json")
    looked = json.loads(out)
    assert looked["stored"] == [] and len(looked["blocks"]) == 16
    first = looked["blocks"][0]
    assert first["slope_ha"] > first["plan_ha"] and first["covered"] == 1.0
    assert first["slope_class"] == "terrace" and first["advice"].startswith("steep")
    code, out, _ = ask("terrain", farm, HILL, "--store")
    assert code == 0 and "Stored in 16 of 16 blocks." in out
    code, out, _ = ask("block", farm, first["block"], "--json")
    assert json.loads(out)["elevation_m"] == pytest.approx(first["elevation_m"], abs=0.06)


def test_flow_of_a_block(farm: str, ask: Callable[..., tuple[int, str, str]]) -> None:
    code, out, _ = ask("flow", farm, "--block", "Weir")
    assert code == 0 and "only the friction" in out
    code, out, _ = ask("flow", farm, "--block", "Weir", "--heights", HILL)
    assert code == 0 and "uneven" in out and "licensed" in out
    code, out, _ = ask("flow", farm, "--block", "Weir", "--heights", HILL, "--json")
    found = json.loads(out)
    assert found["measured"] and 0.5 < found["low_quarter"] < 0.9
    rows = found["map"]["share"]
    known = [v for row in rows for v in row if v is not None]
    assert min(known) == pytest.approx(found["lowest_share"])
    assert any(v is None for row in rows for v in row)
    ask("terrain", farm, HILL, "--store")
    _, out, _ = ask("flow", farm, "--block", "Weir", "--json")
    own = json.loads(out)
    assert own["low_quarter"] == pytest.approx(found["low_quarter"])
    assert own["not_on_one_pump"]


def test_refusals_in_one_sentence(
    farm: str, tmp_path: Path, ask: Callable[..., tuple[int, str, str]]
) -> None:
    picture = tmp_path / "p.tif"
    picture.write_bytes(b"II*\x00nothing")
    for words in (
        ("terrain", farm, str(picture)),
        ("terrain", farm, str(tmp_path / "none.tif"), "--store"),
        ("terrain", farm, farm),
        ("terrain", farm, HILL, "--answer", "height_unit=yard"),
        ("terrain", farm, HILL, "--answer", "crs=4326"),
        ("flow", farm, "--block", "Nobody"),
        ("flow", farm),
    ):
        code, out, err = ask(*words)
        assert code == 2, words
        assert out == "" and err.count("\n") == 1
