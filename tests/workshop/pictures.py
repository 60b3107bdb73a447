"""Plain pictures to develop, and what the tests look at in what comes out."""

import csv
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, ImageStat

from studio.workshop.imaging import Developed, develop
from studio.workshop.sniff import NotAPhoto, Reason
from tests.conftest import SHARED

CASES = SHARED / "photo-cases"

Colour = tuple[float, ...]
RED, GREEN, BLUE, CREAM = (200, 30, 40), (50, 160, 60), (20, 70, 190), (240, 230, 205)

# CIPA DC-008-2019, tag 0x0112, Orientation: which side of the scene the 0th row and the 0th column of the file are
# (written down from memory; exiftool's own words are checked against it in test_imaging.py).
STANDARD = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}
OPPOSITE = {"top": "bottom", "bottom": "top", "left": "right", "right": "left"}
SCENE = {("top", "left"): RED, ("top", "right"): GREEN, ("bottom", "left"): BLUE, ("bottom", "right"): CREAM}


def quarters(width: int, height: int, colours: Sequence[Colour]) -> Image.Image:
    """A picture of four plain quarters: top left, top right, bottom left, bottom right."""
    picture = Image.new("RGB", (width, height))
    for index, colour in enumerate(colours):
        left, top = (index % 2) * (width // 2), (index // 2) * (height // 2)
        plain = (int(colour[0]), int(colour[1]), int(colour[2]))
        picture.paste(plain, (left, top, left + width // 2, top + height // 2))
    return picture


def as_stored(orientation: int) -> list[Colour]:
    """The four colours of SCENE in the order in which a file of that orientation holds them."""
    row, column = STANDARD[orientation]
    places = [(first, second) for first in (row, OPPOSITE[row]) for second in (column, OPPOSITE[column])]
    return [SCENE.get((a, b)) or SCENE[b, a] for a, b in places]  # rows of the file may be columns of the scene


def corners(picture: Image.Image) -> list[Colour]:
    """Mean colours of the 20 % corners: top left, top right, bottom left, bottom right."""
    wide, high = round(picture.width * 0.2), round(picture.height * 0.2)
    places = [(left, top) for top in (0, picture.height - high) for left in (0, picture.width - wide)]
    boxes = [(left, top, left + wide, top + high) for left, top in places]
    return [tuple(ImageStat.Stat(picture.convert("RGB").crop(box)).mean) for box in boxes]


def worst(found: Sequence[Colour], expected: Sequence[Colour]) -> float:
    return max(abs(a - b) for one, two in zip(found, expected, strict=True) for a, b in zip(one, two, strict=True))


def seen(rendition: Developed) -> Image.Image:
    picture = Image.open(BytesIO(rendition.jpeg))
    assert (picture.format, picture.mode, picture.size) == ("JPEG", "RGB", (rendition.width, rendition.height))
    return picture


def saved(picture: Image.Image, kind: str, **options: object) -> bytes:
    out = BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def kept(folder: Path, content: bytes) -> Path:
    path = folder / "original"
    path.write_bytes(content)
    return path


def reason_for(path: Path) -> Reason:
    with pytest.raises(NotAPhoto) as refused:
        develop(path)
    return refused.value.reason


def segments(jpeg: bytes) -> list[int]:
    """The markers of a JPEG up to its scan (ITU-T T.81 annex B)."""
    found, at = [], 2
    while True:
        assert jpeg[at] == 0xFF
        found.append(jpeg[at + 1])
        if jpeg[at + 1] == 0xDA:
            return found
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")


def manifest() -> list[tuple[Path, dict[str, str]]]:
    """The open cases, with sizes checked by exiftool and vips and colours by vips or ImageMagick; none where absent."""
    if not CASES.is_dir():
        return []
    with (CASES / "manifest.csv").open(newline="") as table:
        return [(CASES / row["file"], row) for row in csv.DictReader(table)]
