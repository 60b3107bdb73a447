"""Every kind of photo comes out, with nothing in it but pixels, and small enough for a letter."""

import json
import subprocess
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from fixtures.photos import phone
from studio.workshop.imaging import develop, shrink
from studio.workshop.sniff import Reason
from tests.conftest import need_service, need_shared
from tests.workshop.pictures import (
    BLUE,
    CASES,
    CREAM,
    GREEN,
    RED,
    corners,
    kept,
    manifest,
    quarters,
    reason_for,
    saved,
    seen,
    segments,
    worst,
)

pytestmark = pytest.mark.once


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF", "AVIF", "MPO"])
def test_every_kind_that_phones_send_is_developed(tmp_path: Path, kind: str) -> None:
    photo = saved(quarters(2400, 1600, [RED, GREEN, BLUE, CREAM]), kind, quality=90)
    large = develop(kept(tmp_path, photo))[0]
    assert (large.width, large.height) == (2048, 1365)
    assert worst(corners(seen(large)), [RED, GREEN, BLUE, CREAM]) <= 8


def test_of_several_frames_the_first_is_taken(tmp_path: Path) -> None:
    frames = [Image.new("RGB", (64, 64), colour) for colour in (RED, GREEN)]
    for kind in ("PNG", "WEBP", "MPO", "AVIF"):
        photo = saved(frames[0], kind, save_all=True, append_images=frames[1:])
        assert worst(corners(seen(develop(kept(tmp_path, photo))[0])), [RED] * 4) <= 8, kind


def tags(folder: Path) -> list[dict[str, object]]:
    """What exiftool finds in each file of the folder; groups in the names."""
    command = [need_service("exiftool"), "-json", "-G1", "-a", "-u", "-ee", "-n", str(folder)]
    told = subprocess.run(command, capture_output=True, check=True)
    return list(json.loads(told.stdout))


def test_no_segment_but_what_a_jpeg_needs(tmp_path: Path) -> None:
    photo = phone.textured(1200, 900, seed=2, orientation=6, p3=True, gps=True)
    assert phone.COMMENT in photo
    assert b"SERIAL-0042" in photo
    for rendition in develop(kept(tmp_path, photo)):
        markers = segments(rendition.jpeg)
        assert set(markers) == {0xE0, 0xDB, 0xC0, 0xC4, 0xDA}  # JFIF, tables, baseline frame, scan: no APP1, APP2, COM
        assert rendition.jpeg.endswith(b"\xff\xd9")
        for trace in (phone.COMMENT, b"SERIAL-0042", b"GPS", b"ftyp", b"Exif", b"http"):
            assert trace not in rendition.jpeg


def test_chroma_is_halved_both_ways(tmp_path: Path) -> None:
    jpeg = develop(kept(tmp_path, phone.textured(640, 480, seed=2)))[0].jpeg
    frame = jpeg.index(b"\xff\xc0")
    assert [jpeg[frame + 11 + 3 * part] for part in range(3)] == [0x22, 0x11, 0x11]  # ITU-T T.81 B.2.2: 4:2:0


@pytest.mark.exiftool
@pytest.mark.filterwarnings("ignore:Image appears to be a malformed MPO")
def test_exiftool_finds_nothing_in_what_clients_get(tmp_path: Path) -> None:
    original, out = tmp_path / "in", tmp_path / "out"
    original.mkdir()
    out.mkdir()
    photo = original / "original.jpg"  # exiftool passes by what has no suffix
    photo.write_bytes(phone.textured(1200, 900, seed=2, orientation=6, p3=True, gps=True))
    photos = [photo, *(case for case, row in manifest() if row["outcome"] == "accepted")]
    for number, path in enumerate(photos):
        for rendition in develop(path):
            (out / f"{number}-{rendition.edge}.jpg").write_bytes(rendition.jpeg)
    assert any("GPS" in name for found in tags(original) for name in found)
    told = tags(out)
    assert len(told) == 3 * len(photos)
    for found in told:
        groups = {name.split(":")[0] for name in found if ":" in name}
        assert groups <= {"ExifTool", "System", "File", "JFIF", "Composite"}, found
        assert {name for name in found if name.startswith("Composite:")} <= {
            "Composite:ImageSize",
            "Composite:Megapixels",
        }
        assert "File:Comment" not in found


@pytest.mark.parametrize("most", [60_000, 20_000])
def test_a_letter_gets_a_picture_that_fits(tmp_path: Path, most: int) -> None:
    for rendition in develop(kept(tmp_path, phone.textured(1600, 1200, seed=6)))[1:]:
        path = kept(tmp_path, rendition.jpeg)
        small = shrink(path, most)
        picture = Image.open(BytesIO(small))
        assert len(small) <= most
        assert picture.width * 3 == picture.height * 4
        assert max(picture.size) >= 240
        assert set(segments(small)) == {0xE0, 0xDB, 0xC0, 0xC4, 0xDA}


def test_a_picture_that_fits_already_goes_as_it_is(tmp_path: Path) -> None:
    jpeg = develop(kept(tmp_path, phone.textured(300, 200, seed=6)))[2].jpeg
    assert shrink(kept(tmp_path, jpeg), len(jpeg)) == jpeg
    assert len(shrink(kept(tmp_path, jpeg), len(jpeg) - 1)) < len(jpeg)


def test_no_picture_fits_into_a_hundred_bytes(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="100 bytes"):
        shrink(kept(tmp_path, phone.textured(300, 200, seed=6)), 100)


@pytest.mark.shared
@pytest.mark.filterwarnings("ignore:Image appears to be a malformed MPO", "ignore::PIL.Image.DecompressionBombWarning")
@pytest.mark.skipif(not CASES.is_dir(), reason="the open data photo-cases is not beside this checkout")
@pytest.mark.parametrize(("path", "row"), manifest(), ids=lambda value: value.name if isinstance(value, Path) else "")
def test_a_case_from_the_world_comes_out_as_the_manifest_says(path: Path, row: dict[str, str]) -> None:
    if row["outcome"] == "rejected":
        reasons = {
            "truncated_vips.jpg": Reason.INCOMPLETE,
            "truncated.png": Reason.INCOMPLETE,
            "animated.gif": Reason.GIF,
            "video_named.jpg": Reason.FILM,
            "zero_bytes.jpg": Reason.EMPTY,
            "bomb_20000x20000.png": Reason.TOO_LARGE,
        }
        assert reason_for(path) is reasons[path.name]
        return
    width, height = int(row["width"]), int(row["height"])
    expected = [tuple(map(float, corner.split("/"))) for corner in row["corner_rgb_tl_tr_bl_br"].split()]
    for rendition in develop(path):
        picture = seen(rendition)
        if max(width, height) <= rendition.edge:
            assert picture.size == (width, height)
        else:
            assert 0.9 * rendition.edge <= max(picture.size) <= rendition.edge
            assert picture.width / picture.height == pytest.approx(width / height, rel=0.01)
        if expected:
            assert worst(corners(picture), expected) <= 8  # the manifest's tolerance after JPEG


@pytest.mark.shared
def test_the_manifest_is_whole() -> None:
    need_shared(CASES.name)
    outcomes = [row["outcome"] for _, row in manifest()]
    assert (outcomes.count("accepted"), outcomes.count("rejected")) == (20, 6)
