"""Pictures under the map: where they lie in the farm's metres, and what their bands become."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from rasterio.enums import ColorInterp
from rasterio.transform import Affine, from_origin

from waterbudget import underlay
from waterbudget.errors import AnswersNeeded, Refused

EPSG, EAST, NORTH = 32736, 468_600.0, 7_799_500.0
N = 120
pytestmark = pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning",
                                        "ignore::PendingDeprecationWarning")  # fmt: skip

SYSTEMS = {
    "the farm's own": (32736, 5.0), "degrees": (4326, 0.00005), "web map metres": (3857, 5.0),
    "the next zone": (32735, 5.0),
}  # fmt: skip


def write(path: Path, pixels: np.ndarray, *, epsg: int | None = EPSG,
          where: Affine | None = None, driver: str = "GTiff", **more: object) -> Path:  # fmt: skip
    """Write a raster of bands x rows x columns."""
    where = where if where is not None else from_origin(EAST, NORTH, 5.0, 5.0)
    with rasterio.open(path, "w", driver=driver, width=pixels.shape[2], height=pixels.shape[1],
                       count=pixels.shape[0], dtype=pixels.dtype, transform=where,
                       crs=None if epsg is None else f"EPSG:{epsg}", **more) as file:  # fmt: skip
        file.write(pixels)
    return path


def marked() -> tuple[np.ndarray, list[tuple[int, int]]]:
    """Return a grey picture with four bright squares, and the middles of those (column, row)."""
    pixels = np.full((3, N, N), 40, np.uint8)
    middles = [(15, 15), (105, 15), (15, 105), (105, 90)]
    for column, row in middles:
        pixels[:, row - 3 : row + 3, column - 3 : column + 3] = 250
    return pixels, middles


def whole(made: underlay.Copy, side: int = 4000) -> tuple[np.ndarray, underlay.Bounds]:
    """Return all pixels of a copy."""
    reader = underlay.Reader(made)
    found = reader.read(made.bounds, side, side)
    reader.close()
    assert found is not None
    return found


@pytest.mark.parametrize("name", list(SYSTEMS))
def test_marks_lie_within_a_pixel_of_where_they_should(tmp_path: Path, name: str) -> None:
    epsg, step = SYSTEMS[name]
    to_own = pyproj.Transformer.from_crs(EPSG, epsg, always_xy=True)
    west, north = to_own.transform(EAST, NORTH)
    where = from_origin(west, north, step, step)
    pixels, middles = marked()
    path = write(tmp_path / "air.tif", pixels, epsg=epsg, where=where)
    made = underlay.prepare(path, EPSG, tmp_path / "cache")
    shown, (left, bottom, right, top) = whole(made)
    rows, columns, _ = shown.shape
    back = pyproj.Transformer.from_crs(epsg, EPSG, always_xy=True)
    bright = (shown[..., 0] > 150) & (shown[..., 3] > 0)
    for column, row in middles:
        x, y = back.transform(*(where * (column, row)))
        c, r = (x - left) / (right - left) * columns, (top - y) / (top - bottom) * rows
        near = bright[max(int(r) - 9, 0) : int(r) + 10, max(int(c) - 9, 0) : int(c) + 10]
        seen = np.argwhere(near).mean(axis=0) + 0.5
        assert seen[1] + max(int(c) - 9, 0) == pytest.approx(c, abs=1.0)
        assert seen[0] + max(int(r) - 9, 0) == pytest.approx(r, abs=1.0)


def test_a_turned_picture_lies_where_its_six_numbers_say(tmp_path: Path) -> None:
    where = Affine.translation(EAST, NORTH) * Affine.rotation(30) * Affine.scale(5, -5)
    pixels, middles = marked()
    made = underlay.prepare(write(tmp_path / "t.tif", pixels, where=where), EPSG, tmp_path / "c")
    shown, (left, bottom, right, top) = whole(made)
    for column, row in middles:
        x, y = where * (column, row)
        c = int((x - left) / (right - left) * shown.shape[1])
        r = int((top - y) / (top - bottom) * shown.shape[0])
        assert shown[r, c, 0] > 150


def test_a_piece_is_read_as_fine_as_asked_and_none_outside(tmp_path: Path) -> None:
    made = underlay.prepare(write(tmp_path / "a.tif", marked()[0]), EPSG, tmp_path / "c")
    assert made.bounds == (EAST, NORTH - 600, EAST + 600, NORTH)
    reader = underlay.Reader(made)
    found = reader.read((EAST - 300, NORTH - 300, EAST + 300, NORTH + 300), 120, 120)
    assert found is not None
    pixels, bounds = found
    assert bounds == (EAST, NORTH - 300, EAST + 300, NORTH) and pixels.shape == (60, 60, 4)
    half = reader.read((EAST, NORTH - 600, EAST + 600, NORTH), 60, 60)
    assert half is not None and half[0].shape == (60, 60, 4)
    assert reader.read((EAST + 700, NORTH, EAST + 800, NORTH + 100), 50, 50) is None
    reader.close()


def test_the_persons_file_is_not_touched_and_the_copy_is_used_again(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    path = write(folder / "a.tif", marked()[0])
    before, stamp = path.read_bytes(), path.stat().st_mtime_ns
    made = underlay.prepare(path, EPSG, tmp_path / "c")
    made_at = made.path.stat().st_mtime_ns
    assert path.read_bytes() == before and path.stat().st_mtime_ns == stamp
    assert [p.name for p in folder.iterdir()] == ["a.tif"]
    assert underlay.prepare(path, EPSG, tmp_path / "c").path.stat().st_mtime_ns == made_at
    write(path, np.full((3, N, N), 9, np.uint8))
    assert underlay.prepare(path, EPSG, tmp_path / "c").path != made.path


def test_a_large_picture_gets_overviews_in_the_copy(tmp_path: Path) -> None:
    path = write(tmp_path / "a.tif", np.zeros((1, 1500, 1500), np.uint8))
    made = underlay.prepare(path, EPSG, tmp_path / "c")
    with rasterio.open(made.path) as copy:
        assert copy.overviews(1) == [2, 4, 8]


# -- bands --------------------------------------------------------------------------------------


def middle_colour(tmp_path: Path, path: Path) -> tuple[int, ...]:
    pixels, _ = whole(underlay.prepare(path, EPSG, tmp_path / "cache"))
    return tuple(int(v) for v in pixels[pixels.shape[0] // 2, pixels.shape[1] // 2])


def test_three_bands_are_red_green_blue(tmp_path: Path) -> None:
    pixels = np.zeros((3, N, N), np.uint8)
    pixels[0], pixels[1], pixels[2] = 200, 100, 50
    assert middle_colour(tmp_path, write(tmp_path / "a.tif", pixels)) == (200, 100, 50, 255)


def test_one_band_is_grey(tmp_path: Path) -> None:
    pixels = np.full((1, N, N), 77, np.uint8)
    assert middle_colour(tmp_path, write(tmp_path / "a.tif", pixels)) == (77, 77, 77, 255)


def test_a_colour_table_is_looked_up(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    with rasterio.open(path, "w", driver="GTiff", width=N, height=N, count=1, dtype="uint8",
                       crs=f"EPSG:{EPSG}", photometric="palette",
                       transform=from_origin(EAST, NORTH, 5, 5)) as file:  # fmt: skip
        file.write(np.full((1, N, N), 7, np.uint8))
        file.write_colormap(1, {7: (10, 180, 20, 255), 8: (255, 0, 0, 255)})
    assert middle_colour(tmp_path, path) == (10, 180, 20, 255)


def test_alpha_makes_the_ground_show_through(tmp_path: Path) -> None:
    pixels = np.full((4, N, N), 200, np.uint8)
    pixels[3] = 128
    path = tmp_path / "a.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=N,
        height=N,
        count=4,
        dtype="uint8",
        crs=f"EPSG:{EPSG}",
        transform=from_origin(EAST, NORTH, 5, 5),
    ) as file:
        file.write(pixels)
        file.colorinterp = [ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.alpha]
    red, _, _, alpha = middle_colour(tmp_path, path)
    assert alpha == 128 and red == pytest.approx(200 * 128 / 255, abs=1)


def test_sixteen_bits_are_stretched_and_nodata_is_not_seen(tmp_path: Path) -> None:
    ramp = np.linspace(1000, 3000, N).astype(np.uint16)
    pixels = np.repeat(ramp[None, None, :], N, axis=1).copy()
    pixels[0, :30, :] = 0
    made = underlay.prepare(write(tmp_path / "a.tif", pixels, nodata=0), EPSG, tmp_path / "c")
    shown, _ = whole(made)
    assert shown.shape[0] == N
    assert (shown[:29, :, 3] == 0).all() and (shown[31:, :, 3] == 255).all()
    row = shown[60, :, 0].astype(int)
    assert row[0] == 0 and row[-1] == 255 and row[N // 2] == pytest.approx(127, abs=4)


def test_decimal_numbers_without_a_value_are_not_seen(tmp_path: Path) -> None:
    pixels = np.ones((1, N, N), np.float32)
    pixels[0, :, 60:] = 2.0
    pixels[0, :20] = np.nan
    shown, _ = whole(underlay.prepare(write(tmp_path / "a.tif", pixels), EPSG, tmp_path / "c"))
    assert (shown[:19, :, 3] == 0).all() and (shown[21:, :, 3] == 255).all()
    assert shown[60, 10, 0] < 10 and shown[60, 110, 0] > 245


def test_a_picture_with_a_world_file_lies_where_its_numbers_say(tmp_path: Path) -> None:
    path = tmp_path / "scan.png"
    write(path, np.full((3, 50, 50), 90, np.uint8), driver="PNG", epsg=None)
    for beside in tmp_path.glob("scan.*"):
        if beside != path:
            beside.unlink()
    with pytest.raises(Refused) as refused:
        underlay.check(path, EPSG)
    assert refused.value.code == "underlay.nowhere"
    (tmp_path / "scan.pgw").write_text(f"4\n0\n0\n-4\n{EAST + 2}\n{NORTH - 2}\n")
    west, south, east, north = underlay.check(path, EPSG)
    assert (west, north) == pytest.approx((EAST, NORTH), abs=0.1)
    assert (east, south) == pytest.approx((EAST + 200, NORTH - 200), abs=0.1)


# -- kinds, refusals ------------------------------------------------------------------------------


def test_bands_tell_pictures_from_heights(tmp_path: Path) -> None:
    byte, metres = np.zeros((1, 9, 9), np.uint8), np.zeros((1, 9, 9), np.float32)
    assert underlay.kind_of(write(tmp_path / "a.tif", byte)) == "picture"
    assert underlay.kind_of(write(tmp_path / "b.tif", np.zeros((3, 9, 9), np.uint16))) == "picture"
    assert underlay.kind_of(write(tmp_path / "c.tif", metres)) == "heights"
    with pytest.raises(AnswersNeeded) as asked:
        underlay.kind_of(write(tmp_path / "d.tif", np.zeros((1, 9, 9), np.int16)))
    assert asked.value.questions[0].choices == ("picture", "heights")


def test_heights_are_read_in_metres_of_the_farm(tmp_path: Path) -> None:
    z = np.repeat(np.arange(N, dtype=np.float32)[:, None], N, axis=1)
    z[:5] = -9999
    path = write(tmp_path / "z.tif", z[None], nodata=-9999)
    grid, bounds = underlay.read_heights(path, EPSG, 60)
    assert grid.shape == (60, 60) and bounds == (EAST, NORTH - 600, EAST + 600, NORTH)
    assert np.isnan(grid[0]).all()
    assert grid[30, 30] == pytest.approx(60.5, abs=0.1)


def test_what_sends_elsewhere_is_not_followed(tmp_path: Path) -> None:
    real = write(tmp_path / "real.tif", marked()[0])
    for name in ("link.vrt", "link.tif"):
        path = tmp_path / name
        path.write_text(f'<VRTDataset rasterXSize="9" rasterYSize="9"><VRTRasterBand><SimpleSource>'
                        f"<SourceFilename>{real}</SourceFilename></SimpleSource></VRTRasterBand>"
                        "</VRTDataset>")  # fmt: skip
        with pytest.raises(Refused) as refused:
            underlay.kind_of(path)
        assert refused.value.code == "underlay.unreadable"


def test_a_side_file_changes_nothing(tmp_path: Path) -> None:
    path = write(tmp_path / "a.tif", np.full((3, N, N), 90, np.uint8))
    other = write(tmp_path / "b.tif", np.full((3, N, N), 255, np.uint8))
    (tmp_path / "a.tif.ovr").write_bytes(other.read_bytes())
    (tmp_path / "a.tif.aux.xml").write_text(
        f'<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{other}</MDI>'
        "</Metadata></PAMDataset>"
    )
    assert middle_colour(tmp_path, path)[:3] == (90, 90, 90)


@pytest.mark.parametrize(
    ("content", "code"),
    [(b"", "underlay.unreadable"), (b"II*\x00" + b"\x00" * 40, "underlay.unreadable"),
     (b"only words", "underlay.unreadable"), (None, "underlay.no_file")],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_by_name(
    tmp_path: Path, content: bytes | None, code: str
) -> None:
    path = tmp_path / "x.tif"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(Refused) as refused:
        underlay.prepare(path, EPSG, tmp_path / "c")
    assert refused.value.code == code and refused.value.fields["file"] == "x.tif"
    assert not list((tmp_path / "c").glob("*")) if (tmp_path / "c").exists() else True


def test_a_raster_too_large_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(underlay, "MOST_PIXELS", 100)
    with pytest.raises(Refused) as refused:
        underlay.check(write(tmp_path / "a.tif", marked()[0]), EPSG)
    assert refused.value.code == "underlay.too_large"


def test_a_cut_off_file_leaves_no_copy(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    path = write(tmp_path / "a.tif", rng.integers(0, 255, (3, 400, 400), dtype=np.uint8))
    path.write_bytes(path.read_bytes()[:200_000])
    with pytest.raises(Refused):
        underlay.prepare(path, EPSG, tmp_path / "c")
    assert list((tmp_path / "c").iterdir()) == []


def test_the_cache_lets_the_oldest_go(tmp_path: Path) -> None:
    import os

    for k in range(3):
        file = tmp_path / f"{k}.tif"
        file.write_bytes(b"x" * 100)
        os.utime(file, (1000 + k, 1000 + k))
    underlay.forget(tmp_path, 250)
    assert sorted(f.name for f in tmp_path.iterdir()) == ["1.tif", "2.tif"]
