"""Tells by the first bytes what somebody sent: the content decides, never the name or the type that the phone claims.

Signatures: JPEG (ITU-T T.81), PNG (ISO/IEC 15948), WebP (RFC 9649), HEIF and AVIF by their `ftyp` brands
(ISO/IEC 14496-12, 23008-12; the AVIF specification), GIF89a, TIFF 6.0.
"""

from enum import StrEnum

MOST_BYTES = 60_000_000  # a 200 megapixel JPEG from a phone is about 42 MB
HEAD_BYTES = 64  # what `sniff` wants to see


class Reason(StrEnum):
    """Why a file is no photo for us; stored beside the photo, said to its maker as `SENTENCES[reason]`."""

    EMPTY = "empty"
    NOT_A_PHOTO = "not_a_photo"
    GIF = "gif"
    RAW = "raw"
    FILM = "film"
    UNSUPPORTED = "unsupported"
    TOO_LARGE = "too_large"
    INCOMPLETE = "incomplete"
    DAMAGED = "damaged"


SENTENCES: dict[Reason, str] = {
    Reason.EMPTY: "The file is empty. Take the photo again and send it.",
    Reason.NOT_A_PHOTO: "That is not a photo. Choose a photo and send it.",
    Reason.GIF: "That is a GIF. Send the photo as JPEG, PNG or HEIC.",
    Reason.RAW: "That is a raw or TIFF file. Send the photo as JPEG or HEIC.",
    Reason.FILM: "That is a film, not a photo. Take a photo and send it.",
    Reason.UNSUPPORTED: "That kind of picture cannot be opened here. Send the photo as JPEG, PNG or HEIC.",
    Reason.TOO_LARGE: "That photo is too large to open here. Send a smaller copy, at most 60 MB and 64 megapixels.",
    Reason.INCOMPLETE: "Only part of the photo arrived. Send it again.",
    Reason.DAMAGED: "The photo could not be read. Send it again; if that fails, take another.",
}


class NotAPhoto(Exception):
    """A file that cannot become a photo. `reason` says why; trying again with the same bytes does not help."""

    def __init__(self, reason: Reason) -> None:
        super().__init__(SENTENCES[reason])
        self.reason = reason


HEIC = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"}
AVIF = {b"avif", b"avis"}
ANY_CODEC = {b"mif1", b"msf1", b"mif2", b"miaf"}  # says "HEIF" without saying how its pixels are coded

REFUSED: tuple[tuple[bytes, Reason], ...] = (
    (b"GIF87a", Reason.GIF),
    (b"GIF89a", Reason.GIF),
    (b"II*\0", Reason.RAW),  # TIFF, and with it DNG and most raw files
    (b"MM\0*", Reason.RAW),
    (b"\x1aE\xdf\xa3", Reason.FILM),  # Matroska, WebM
    (b"BM", Reason.UNSUPPORTED),
    (b"\xff\x0a", Reason.UNSUPPORTED),  # JPEG XL, bare and boxed
    (b"\0\0\0\x0cJXL ", Reason.UNSUPPORTED),
    (b"\0\0\0\x0cjP  ", Reason.UNSUPPORTED),  # JPEG 2000
)


def sniff(head: bytes) -> str:
    """The true suffix of a photo, one of jpg, png, webp, heic, avif, from its first `HEAD_BYTES` bytes.

    Raises NotAPhoto. A good head promises nothing about the rest: only developing the photo shows whether it can be read.
    """
    if not head:
        raise NotAPhoto(Reason.EMPTY)
    if head.startswith(b"\xff\xd8\xff"):
        return "jpg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head.startswith(b"RIFF"):
        if head[8:12] == b"WEBP":
            return "webp"
        raise NotAPhoto(Reason.FILM if head[8:12] == b"AVI " else Reason.NOT_A_PHOTO)
    if head[4:8] == b"ftyp":
        return _by_brand(head)
    if head[4:8] in {b"moov", b"mdat", b"wide"}:  # films from before `ftyp`
        raise NotAPhoto(Reason.FILM)
    for signature, reason in REFUSED:
        if head.startswith(signature):
            raise NotAPhoto(reason)
    raise NotAPhoto(Reason.NOT_A_PHOTO)


def _by_brand(head: bytes) -> str:
    """The suffix by the major brand, or, where that leaves the codec open, by the first compatible brand that tells."""
    end = min(int.from_bytes(head[:4], "big"), len(head))
    major, compatible = head[8:12], [head[start : start + 4] for start in range(16, end - 3, 4)]
    for brand in (major, *compatible) if major in ANY_CODEC else (major,):
        if brand in HEIC:
            return "heic"
        if brand in AVIF:
            return "avif"
    if major in ANY_CODEC:
        return "heic"
    raise NotAPhoto(Reason.RAW if major == b"crx " else Reason.FILM)
