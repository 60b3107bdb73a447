"""Photographs as phones send them, and whether a picture on a page is one of them. No Django."""

from concurrent.futures import ProcessPoolExecutor
from io import BytesIO
from pathlib import Path

from PIL import Image, ImageOps

from fixtures.photos.phone import textured

SIZE_PX = (4032, 3024)
LEAST_BYTES = 2_500_000


def draw_photos(folder: Path, count: int) -> list[Path]:
    """So many different 12-megapixel JPEGs: turned by EXIF in all eight ways, every other one with a P3 profile."""
    folder.mkdir(exist_ok=True)
    paths = [folder / f"photo-{number:02d}.jpg" for number in range(count)]
    missing = [(path, number) for number, path in enumerate(paths) if not path.exists()]
    with ProcessPoolExecutor(max_workers=2) as pool:
        list(pool.map(_draw, missing))
    contents = [path.read_bytes() for path in paths]
    if min(map(len, contents)) < LEAST_BYTES or len(set(contents)) < count:
        raise RuntimeError("The photos that were drawn are too small, or not all different.")
    return paths


def _draw(one: tuple[Path, int]) -> None:
    path, number = one
    path.write_bytes(textured(*SIZE_PX, seed=number, orientation=number % 8 + 1, p3=number % 2 == 1))


def shows(photo: Path, rendition: bytes) -> bool:
    """Whether the 960 px copy on a client's page is one of this very photo, upright."""
    with Image.open(BytesIO(rendition)) as seen, Image.open(photo) as sent:
        sent.draft("RGB", (504, 378))
        upright = ImageOps.exif_transpose(sent)
        if max(seen.size) != 960 or (seen.width > seen.height) != (upright.width > upright.height):
            return False
        pairs = zip(_small(seen), _small(upright), strict=True)
        # Different photos differ by 40 and more; a Display P3 photo that becomes sRGB moves by a few.
        return sum(abs(a - b) for a, b in pairs) / 64 < 12


def _small(picture: Image.Image) -> bytes:
    return picture.convert("L").resize((8, 8), Image.Resampling.BOX).tobytes()
