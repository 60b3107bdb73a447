"""Develops what a phone sent into three small upright sRGB JPEGs that carry nothing but pixels.

The order of the steps matters. The JPEG decoder itself shrinks (`draft`), the large rendition is taken as it comes
when that lands close enough, and colour and turning are worked out on the 3 megapixels that are left: a 12 or a
200 megapixel JPEG then costs about the same 20 MB. Nothing is copied from the original but pixels: not its EXIF, not its
profile, not its comment.
"""

import errno
import logging
import struct
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import pillow_heif
from PIL import Image, ImageCms

from studio.workshop.sniff import HEAD_BYTES, MOST_BYTES, NotAPhoto, Reason, sniff

log = logging.getLogger(__name__)

EDGES = (2048, 960, 480)  # px, the longer side of each rendition
NEAR_ENOUGH = 0.9  # a large rendition of 0.9 to 1.0 of its edge is taken as the decoder gives it
QUALITY = 80
MOST_PIXELS = 210_000_000  # baseline JPEG: shrunk while it is decoded
MOST_PIXELS_WHOLE = 64_000_000  # the others stand whole in memory; a progressive JPEG with all its coefficients
LONGEST_EDGE = 65_535

FORMATS = ("JPEG", "PNG", "WEBP", "HEIF", "AVIF")  # "MPO" is read by the JPEG reader and must not stand here
ORIENTATION = 0x0112  # EXIF tag, CIPA DC-008
TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
MAY_HAVE_PROFILE = {"L", "RGB", "CMYK"}  # modes that a colour profile can speak of
SHRINK_STEPS = ((960, 75), (960, 65), (960, 55), (720, 70), (720, 55), (560, 65), (560, 50), (400, 55), (240, 50))
# What the readers raise on broken files.
UNREADABLE = (OSError, ValueError, SyntaxError, struct.error, LookupError, RuntimeError, EOFError)

Image.MAX_IMAGE_PIXELS = MOST_PIXELS  # a second fence: the limits below are the first
pillow_heif.register_heif_opener(thumbnails=False, decode_threads=1)


@dataclass(frozen=True)
class Developed:
    """One rendition; `edge` is the slot of EDGES that it fills, width and height are px as looked at."""

    edge: int
    width: int
    height: int
    jpeg: bytes


def develop(path: Path) -> tuple[Developed, ...]:
    """The renditions of the photo at `path`, one for each of EDGES, largest first.

    A photo is never made larger: where it is smaller than an edge, that slot holds the photo at its own size, and two
    slots may hold the same bytes. Raises NotAPhoto for what the bytes are, OSError when the file cannot be fetched.
    """
    with path.open("rb") as file:
        image = _upright(file)
    developed: list[Developed] = []
    for edge in EDGES:
        smaller = _fit(image, edge)
        same = bool(developed) and smaller is image
        jpeg = developed[-1].jpeg if same else _jpeg(smaller, QUALITY)
        developed.append(Developed(edge, smaller.width, smaller.height, jpeg))
        image = smaller
    return tuple(developed)


def shrink(path: Path, most_bytes: int) -> bytes:
    """The rendition at `path` as a JPEG of at most `most_bytes`, for a letter; untouched when it is small enough.

    Gives up quality first and size second. Raises ValueError when even 240 px do not fit.
    """
    if path.stat().st_size <= most_bytes:
        return path.read_bytes()
    with Image.open(path, formats=("JPEG",)) as image:
        image.load()
        for edge, quality in SHRINK_STEPS:
            jpeg = _jpeg(_fit(image, edge), quality)
            if len(jpeg) <= most_bytes:
                return jpeg
    raise ValueError(f"no picture fits into {most_bytes} bytes")


def _upright(file: BinaryIO) -> Image.Image:
    """RGB pixels of the photo in `file`, turned upright, in sRGB, the longer side at most EDGES[0] px."""
    if file.seek(0, 2) > MOST_BYTES:
        raise NotAPhoto(Reason.TOO_LARGE)
    file.seek(0)
    sniff(file.read(HEAD_BYTES))
    file.seek(0)
    try:
        picture, icc, turn = _decoded(file)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning, MemoryError) as error:
        raise NotAPhoto(Reason.TOO_LARGE) from error
    except UNREADABLE as error:
        if isinstance(error, OSError) and error.errno not in {None, errno.EINVAL}:
            raise  # the disk, not the photo: worth another try
        words = str(error).lower()
        cut = "truncated" in words or "end of file" in words
        raise NotAPhoto(Reason.INCOMPLETE if cut else Reason.DAMAGED) from error
    picture = _in_srgb(_on_white(picture), icc)
    if turn is not None:
        picture = picture.transpose(turn)
    picture.info = {}  # `save` would carry a comment on
    return picture


def _decoded(file: BinaryIO) -> tuple[Image.Image, bytes | None, Image.Transpose | None]:
    """The picture as `_shrunk` leaves it, its colour profile, and how it is to be turned."""
    with Image.open(file, formats=FORMATS) as image:
        _refuse_too_large(image)
        picture = _shrunk(image)
        return picture, image.info.get("icc_profile"), _turn(image)


def _refuse_too_large(image: Image.Image) -> None:
    """Judges by the header; nothing is decoded yet."""
    shrinks = image.format in {"JPEG", "MPO"} and not image.info.get("progressive")
    if image.width * image.height > (MOST_PIXELS if shrinks else MOST_PIXELS_WHOLE) or max(image.size) > LONGEST_EDGE:
        raise NotAPhoto(Reason.TOO_LARGE)


def _turn(image: Image.Image) -> Image.Transpose | None:
    """How to turn the stored pixels. A HEIC is turned by its container already: its EXIF only informs (ISO/IEC 23008-12).

    Asked after loading: a PNG may keep its EXIF behind the pixels. One tag is read and nothing is written again.
    """
    if image.format == "HEIF":
        return None
    try:
        orientation = image.getexif().get(ORIENTATION)
    except Exception:  # odd EXIF raises almost anything, and must not cost the photo
        return None
    return TURNS.get(orientation) if isinstance(orientation, int) else None


def _shrunk(image: Image.Image) -> Image.Image:
    """The decoded picture, the longer side at most EDGES[0] px, as `_plain` leaves it."""
    largest, box = EDGES[0], None
    longer = max(image.size)
    step = next((s for s in (8, 4, 2) if -(-longer // s) >= NEAR_ENOUGH * largest), 1)
    if step > 1 and image.format in {"JPEG", "MPO"}:
        drafted = image.draft(None, (max(image.width // step, 1), max(image.height // step, 1)))
        box = drafted and drafted[1]
    image.load()
    picture = _plain(image)
    if box is None and step > 1 and -(-longer // step) <= largest:
        picture = picture.reduce(step)
    if max(picture.size) <= largest:
        return picture
    return picture.resize(_size_within(picture, largest), Image.Resampling.LANCZOS, box=box, reducing_gap=3.0)


def _plain(image: Image.Image) -> Image.Image:
    """The same pixels as L, RGB, CMYK or RGBA: what can be resized and has a profile space."""
    if image.mode.startswith("I"):  # 16 bit grey; convert() alone would clip it to white
        return image.point(lambda value: value / 257 + 0.5).convert("L")
    if image.has_transparency_data:
        return image.convert("RGBA")
    if image.mode == "1":
        return image.convert("L")
    return image if image.mode in MAY_HAVE_PROFILE else image.convert("RGB")


def _on_white(image: Image.Image) -> Image.Image:
    if image.mode != "RGBA":
        return image
    return Image.alpha_composite(Image.new("RGBA", image.size, "white"), image).convert("RGB")


def _in_srgb(image: Image.Image, icc: bytes | None) -> Image.Image:
    """RGB pixels in sRGB. A profile that is broken or of another colour space is ignored: the pixels are worth more."""
    try:
        transform = _transform(icc, image.mode) if icc else None
        if transform is not None:
            return ImageCms.applyTransform(image, transform) or image  # None only when it works in place
    except (ImageCms.PyCMSError, OSError, ValueError) as error:
        log.warning("a colour profile was ignored: %s", error)
    return image if image.mode == "RGB" else image.convert("RGB")


@lru_cache(maxsize=16)
def _transform(icc: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
    """From `icc` to sRGB, None when nothing is to be done. Phones of one kind send one profile: building it costs 4 ms.

    Raises PyCMSError for a broken profile and for one of another colour space than `mode`, OSError for no profile at all.
    """
    profile = ImageCms.ImageCmsProfile(BytesIO(icc))
    if "sRGB" in (profile.profile.profile_description or ""):
        return None
    srgb = ImageCms.createProfile("sRGB")
    return ImageCms.buildTransform(profile, srgb, mode, "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC)


def _size_within(image: Image.Image, edge: int) -> tuple[int, int]:
    """Width and height in px with the longer side `edge`; a thin strip keeps at least one pixel."""
    scale = edge / max(image.size)
    return max(round(image.width * scale), 1), max(round(image.height * scale), 1)


def _fit(image: Image.Image, edge: int) -> Image.Image:
    if max(image.size) <= edge:
        return image
    return image.resize(_size_within(image, edge), Image.Resampling.LANCZOS)


def _jpeg(image: Image.Image, quality: int) -> bytes:
    """Baseline JPEG, 4:2:0; the browsers' default without a profile is sRGB."""
    out = BytesIO()
    image.save(out, "JPEG", quality=quality, subsampling="4:2:0")
    return out.getvalue()
