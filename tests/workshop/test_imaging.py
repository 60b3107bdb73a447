"""A photo is developed into three JPEGs of the right size, upright and in sRGB."""

import subprocess
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageStat

from fixtures.photos import phone
from studio.workshop.imaging import EDGES, develop
from tests.conftest import need_service
from tests.workshop.pictures import (
    BLUE,
    CREAM,
    GREEN,
    RED,
    STANDARD,
    Colour,
    as_stored,
    corners,
    kept,
    quarters,
    saved,
    seen,
    worst,
)

pytestmark = pytest.mark.once


@pytest.mark.parametrize(
    ("size", "large"),
    [
        ((4032, 3024), (2016, 1512)),  # half of it is near enough
        ((4000, 3000), (2000, 1500)),
        ((3024, 4032), (1512, 2016)),
        ((3000, 2000), (2048, 1365)),  # half would be too small
        ((2050, 1000), (2048, 999)),
        ((2048, 1536), (2048, 1536)),
        ((6000, 240), (2048, 82)),
        ((6000, 1), (2048, 1)),
    ],
)
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_the_large_rendition_is_within_a_tenth_of_its_edge(
    tmp_path: Path, size: tuple[int, int], large: tuple[int, int], kind: str
) -> None:
    developed = develop(kept(tmp_path, saved(Image.new("RGB", size, RED), kind)))
    assert [rendition.edge for rendition in developed] == list(EDGES)
    assert (developed[0].width, developed[0].height) == large
    for rendition in developed:
        picture = seen(rendition)
        assert rendition.edge * 0.9 <= max(picture.size) <= rendition.edge
        assert picture.width / picture.height == pytest.approx(size[0] / size[1], rel=0.01) or min(picture.size) < 50
        assert worst(corners(picture), [RED] * 4) <= 4 or min(picture.size) < 8


@pytest.mark.parametrize(("size", "sizes"), [((300, 200), [(300, 200)] * 3), ((1, 1), [(1, 1)] * 3)])
def test_a_small_photo_is_never_made_larger(
    tmp_path: Path, size: tuple[int, int], sizes: list[tuple[int, int]]
) -> None:
    developed = develop(kept(tmp_path, saved(Image.new("RGB", size, RED), "PNG")))
    assert [(rendition.edge, rendition.width, rendition.height) for rendition in developed] == [
        (edge, *found) for edge, found in zip(EDGES, sizes, strict=True)
    ]
    assert len({rendition.jpeg for rendition in developed}) == 1


def test_the_same_photo_develops_to_the_same_bytes(tmp_path: Path) -> None:
    path = kept(tmp_path, phone.textured(1200, 900, seed=3, orientation=6, p3=True))
    assert develop(path) == develop(path)


def test_two_thousand_and_forty_eight_is_close_to_the_picture_it_came_from(tmp_path: Path) -> None:
    """Against Pillow's own full decode and one LANCZOS resize: at least 30 dB after JPEG at quality 80 (mean square <= 65)."""
    photo = phone.textured(4032, 3024, seed=5)
    large = seen(develop(kept(tmp_path, photo))[0])
    whole = Image.open(BytesIO(photo)).resize(large.size, Image.Resampling.LANCZOS)
    different = ImageStat.Stat(ImageChops.difference(large, whole))
    assert max(square / count for square, count in zip(different.sum2, different.count, strict=True)) <= 65


@pytest.mark.parametrize("orientation", STANDARD)
@pytest.mark.parametrize("size", [(640, 480), (4032, 3024)])
def test_each_orientation_stands_upright_as_the_standard_says(
    tmp_path: Path, orientation: int, size: tuple[int, int]
) -> None:
    photo = phone.jpeg(quarters(*size, as_stored(orientation)), orientation=orientation)
    on_its_side = STANDARD[orientation][0] in {"left", "right"}
    for rendition in develop(kept(tmp_path, photo)):
        picture = seen(rendition)
        assert worst(corners(picture), [RED, GREEN, BLUE, CREAM]) <= 4
        assert (picture.height > picture.width) is on_its_side


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_containers_with_exif_are_turned_too(tmp_path: Path, kind: str) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    photo = saved(quarters(640, 480, as_stored(6)), kind, exif=exif, quality=95)
    large = seen(develop(kept(tmp_path, photo))[0])
    assert large.size == (480, 640)
    assert worst(corners(large), [RED, GREEN, BLUE, CREAM]) <= 8


def test_a_heic_is_turned_by_its_container_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even when a reader leaves the orientation in its EXIF, which ISO/IEC 23008-12 has for information only."""
    photo = saved(quarters(640, 480, [RED, GREEN, BLUE, CREAM]), "HEIF", quality=90)
    monkeypatch.setattr(Image.Image, "getexif", lambda _: {0x0112: 6})
    assert worst(corners(seen(develop(kept(tmp_path, photo))[0])), [RED, GREEN, BLUE, CREAM]) <= 8


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_orientation_that_does_not_exist_turns_nothing(tmp_path: Path, orientation: int) -> None:
    photo = phone.jpeg(quarters(640, 480, [RED, GREEN, BLUE, CREAM]), orientation=orientation)
    assert worst(corners(seen(develop(kept(tmp_path, photo))[0])), [RED, GREEN, BLUE, CREAM]) <= 4


@pytest.mark.exiftool
def test_exiftool_names_our_orientations_as_the_standard_does(tmp_path: Path) -> None:
    """The words are exiftool's own; that they mean the same turn as the table is shown on the corners."""
    words = {
        "Horizontal (normal)": (RED, GREEN, BLUE, CREAM),
        "Mirror horizontal": (GREEN, RED, CREAM, BLUE),
        "Rotate 180": (CREAM, BLUE, GREEN, RED),
        "Mirror vertical": (BLUE, CREAM, RED, GREEN),
        "Mirror horizontal and rotate 270 CW": (RED, BLUE, GREEN, CREAM),
        "Rotate 90 CW": (GREEN, CREAM, RED, BLUE),
        "Mirror horizontal and rotate 90 CW": (CREAM, GREEN, BLUE, RED),
        "Rotate 270 CW": (BLUE, RED, CREAM, GREEN),
    }
    exiftool, told = need_service("exiftool"), set()
    for orientation in STANDARD:
        (tmp_path / "bare").write_bytes(phone.textured(64, 48, seed=1, orientation=orientation))
        run = subprocess.run([exiftool, "-s3", "-Orientation", str(tmp_path / "bare")], capture_output=True, check=True)
        word = run.stdout.decode().strip()
        told.add(word)
        photo = phone.jpeg(quarters(640, 480, words[word]), orientation=orientation)
        assert worst(corners(seen(develop(kept(tmp_path, photo))[0])), [RED, GREEN, BLUE, CREAM]) <= 4, word
    assert told == set(words)


def srgb_of_p3(colour: Colour) -> Colour:
    """By hand from the published figures, both spaces under the same white and with the same curve.

    Matrices between linear spaces by SMPTE RP 177; primaries of SMPTE EG 432-1 (P3) and IEC 61966-2-1 (sRGB).
    """
    srgb = phone.rgb_to_xyz(((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)), phone.D65)
    p3 = phone.rgb_to_xyz(phone.P3_PRIMARIES, phone.D65)
    linear = [v / 255 / 12.92 if v / 255 <= 0.04045 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in colour]
    xyz = [sum(a * b for a, b in zip(row, linear, strict=True)) for row in p3]
    light = [min(max(sum(a * b for a, b in zip(row, xyz, strict=True)), 0), 1) for row in phone.inverse(srgb)]
    return tuple(255 * (v * 12.92 if v <= 0.0031308 else 1.055 * v ** (1 / 2.4) - 0.055) for v in light)


def test_the_matrix_by_hand_is_the_published_one() -> None:
    """IEC 61966-2-1 prints its matrix from linear RGB to XYZ with four places."""
    printed = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    ours = phone.rgb_to_xyz(((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)), phone.D65)
    for row, expected in zip(ours, printed, strict=True):
        assert row == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize("size", [(640, 480), (4032, 3024)])
def test_display_p3_becomes_srgb(tmp_path: Path, size: tuple[int, int]) -> None:
    stored = [(190, 60, 50), (90, 160, 70), (40, 80, 180), (128, 128, 128)]
    expected = [srgb_of_p3(colour) for colour in stored]
    assert worst(expected, stored) > 10  # ignoring the profile would fail below
    photo = phone.jpeg(quarters(*size, stored), p3=True, quality=95)
    for rendition in develop(kept(tmp_path, photo)):
        assert worst(corners(seen(rendition)), expected) <= 3


@pytest.mark.parametrize("icc", [b"not a profile", phone.display_p3()[:200], b"\0" * 200])
def test_a_broken_profile_does_not_cost_the_photo(tmp_path: Path, icc: bytes) -> None:
    photo = saved(quarters(640, 480, [RED, GREEN, BLUE, CREAM]), "JPEG", icc_profile=icc, quality=95)
    assert worst(corners(seen(develop(kept(tmp_path, photo))[0])), [RED, GREEN, BLUE, CREAM]) <= 4


def test_a_profile_of_another_colour_space_is_ignored(tmp_path: Path) -> None:
    photo = saved(Image.new("L", (64, 64), 140), "JPEG", icc_profile=phone.display_p3())
    assert worst(corners(seen(develop(kept(tmp_path, photo))[0])), [(140, 140, 140)] * 4) <= 2


def test_sixteen_bit_grey_is_scaled_and_not_clipped(tmp_path: Path) -> None:
    picture = Image.new("I;16", (64, 64))
    picture.paste(25 * 257, (0, 0, 32, 64))
    picture.paste(230 * 257, (32, 0, 64, 64))
    found = corners(seen(develop(kept(tmp_path, saved(picture, "PNG")))[0]))
    assert worst(found, [(25, 25, 25), (230, 230, 230)] * 2) <= 3


@pytest.mark.parametrize(
    ("mode", "kind"), [("RGBA", "PNG"), ("LA", "PNG"), ("RGBA", "WEBP"), ("P", "PNG"), ("RGBA", "AVIF")]
)
def test_what_is_transparent_becomes_white(tmp_path: Path, mode: str, kind: str) -> None:
    picture = Image.new("RGBA", (3000, 2000), (0, 0, 0, 0))
    picture.paste((60, 60, 60, 255), (0, 0, 1500, 2000))
    found = corners(seen(develop(kept(tmp_path, saved(picture.convert(mode), kind)))[0]))
    assert worst(found, [(60, 60, 60), (255, 255, 255)] * 2) <= 4


def test_one_bit_and_palette_pictures_are_smoothed(tmp_path: Path) -> None:
    """A fine chequer goes to grey; resized without smoothing it would stay black and white."""
    chequer = Image.frombytes("1", (4096, 2), b"\xaa" * 512 + b"\x55" * 512).resize(
        (4096, 2048), Image.Resampling.NEAREST
    )
    for mode in ("1", "P"):
        grey = ImageStat.Stat(seen(develop(kept(tmp_path, saved(chequer.convert(mode), "PNG")))[0])).extrema[0]
        assert 100 < grey[0] <= grey[1] < 160


def test_cmyk_is_neither_inverted_nor_refused(tmp_path: Path) -> None:
    ink = Image.merge(
        "CMYK", [Image.new("L", (64, 64), value) for value in (0, 255, 255, 0)]
    )  # magenta and yellow: red
    (red, green, blue) = corners(seen(develop(kept(tmp_path, saved(ink, "JPEG")))[0]))[0]
    assert red > 200
    assert green < 90
    assert blue < 90
