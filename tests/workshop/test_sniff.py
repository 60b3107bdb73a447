"""What somebody sent is told by its first bytes."""

import csv
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures.photos import phone
from studio.workshop.sniff import HEAD_BYTES, SENTENCES, NotAPhoto, Reason, sniff
from tests.conftest import need_shared

pytestmark = pytest.mark.once

SUFFIXES = {"jpg", "png", "webp", "heic", "avif"}


def ftyp(major: bytes, *compatible: bytes) -> bytes:
    """The opening box of a file of the ISO base media family (ISO/IEC 14496-12 section 4.3)."""
    body = major + b"\0\0\0\0" + b"".join(compatible)
    return struct.pack(">I4s", 8 + len(body), b"ftyp") + body


def reason_for(head: bytes) -> Reason:
    with pytest.raises(NotAPhoto) as refused:
        sniff(head)
    return refused.value.reason


@pytest.mark.parametrize(
    ("head", "suffix"),
    [
        (b"\xff\xd8\xff\xe1\x17vExif\0\0", "jpg"),  # ITU-T T.81: SOI, then another marker
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "png"),  # ISO/IEC 15948 section 5.2
        (b"RIFF\x96\x1f\0\0WEBPVP8X", "webp"),  # RFC 9649 section 2.3
        (ftyp(b"heic", b"mif1", b"heic"), "heic"),  # ISO/IEC 23008-12 annex B
        (ftyp(b"heix", b"mif1"), "heic"),
        (ftyp(b"hevc", b"msf1"), "heic"),
        (ftyp(b"mif1", b"heic", b"miaf"), "heic"),
        (ftyp(b"avif", b"mif1", b"miaf"), "avif"),  # AV1 Image File Format section 6
        (ftyp(b"avis", b"avif", b"msf1"), "avif"),
        (ftyp(b"mif1", b"miaf", b"avif"), "avif"),
        (ftyp(b"mif1"), "heic"),
    ],
)
def test_a_photo_is_known_by_its_signature(head: bytes, suffix: str) -> None:
    assert sniff(head.ljust(HEAD_BYTES, b"\0")) == suffix


@pytest.mark.parametrize(
    ("head", "reason"),
    [
        (b"", Reason.EMPTY),
        (b"GIF89a\x55\0\x4d\0", Reason.GIF),  # GIF89a section 17
        (b"GIF87a\x55\0\x4d\0", Reason.GIF),
        (b"II*\0\x08\0\0\0", Reason.RAW),  # TIFF 6.0 section 2, and DNG
        (b"MM\0*\0\0\0\x08", Reason.RAW),
        (ftyp(b"crx ", b"crx ", b"isom"), Reason.RAW),
        (ftyp(b"isom", b"iso2", b"mp41"), Reason.FILM),
        (ftyp(b"mp42", b"isom", b"mif1", b"heic"), Reason.FILM),
        (ftyp(b"qt  "), Reason.FILM),
        (ftyp(b"3gp5", b"isom"), Reason.FILM),
        (struct.pack(">I4s", 8, b"wide"), Reason.FILM),
        (b"\x1a\x45\xdf\xa3\x9f\x42\x86\x81\x01", Reason.FILM),  # EBML, RFC 8794 section 8.1
        (b"RIFF\x96\x1f\0\0AVI LIST", Reason.FILM),
        (b"RIFF\x96\x1f\0\0WAVEfmt ", Reason.NOT_A_PHOTO),
        (b"BM\x36\0\x0c\0", Reason.UNSUPPORTED),
        (b"\0\0\0\x0cJXL \r\n\x87\n", Reason.UNSUPPORTED),  # ISO/IEC 18181-2
        (b"\xff\x0a\xfa\x7f", Reason.UNSUPPORTED),
        (b"\0\0\0\x0cjP  \r\n\x87\n", Reason.UNSUPPORTED),  # ISO/IEC 15444-1 annex I
        (b"%PDF-1.7\n", Reason.NOT_A_PHOTO),
        (b"<!doctype html>", Reason.NOT_A_PHOTO),
        (b'<svg xmlns="http://www.w3.org/2000/svg">', Reason.NOT_A_PHOTO),
        (b"\xff\xd8", Reason.NOT_A_PHOTO),  # the start of a JPEG and no more
        (b"RIFF", Reason.NOT_A_PHOTO),
        (b"hello", Reason.NOT_A_PHOTO),
    ],
)
def test_what_is_no_photo_is_refused_with_its_reason(head: bytes, reason: Reason) -> None:
    assert reason_for(head) is reason


def test_a_brand_behind_the_opening_box_does_not_count() -> None:
    assert sniff(ftyp(b"mif1", b"miaf") + b"avifavifavif") == "heic"


def test_every_reason_has_a_sentence_that_says_what_to_do() -> None:
    assert set(SENTENCES) == set(Reason)
    for reason, sentence in SENTENCES.items():
        assert str(NotAPhoto(reason)) == sentence
        assert any(word in sentence for word in ("send it", "Send it", "Send the photo", "Send a smaller")), sentence
        assert not set("!…") & set(sentence)
        assert "lease" not in sentence


def test_the_drawn_odd_files_are_told_apart() -> None:
    assert sniff(phone.textured(64, 48, seed=1)[:HEAD_BYTES]) == "jpg"
    assert sniff(phone.huge(400)[:HEAD_BYTES]) == "png"
    assert reason_for(phone.film()[:HEAD_BYTES]) is Reason.FILM
    assert reason_for(phone.not_a_photo()[:HEAD_BYTES]) is Reason.NOT_A_PHOTO


def box(body: bytes, name: bytes, size: int) -> bytes:
    return (struct.pack(">I4s", size, name) + body)[:HEAD_BYTES]


BOXES = st.builds(box, st.binary(max_size=56), st.sampled_from([b"ftyp", b"mdat", b"moov"]), st.integers(0, 2**32 - 1))


@given(st.binary(max_size=HEAD_BYTES) | BOXES)
def test_any_bytes_are_a_known_suffix_or_refused(head: bytes) -> None:
    try:
        suffix = sniff(head)
    except NotAPhoto:
        return
    assert suffix in SUFFIXES


@pytest.mark.shared
def test_the_content_decides_and_not_the_name() -> None:
    """The true formats in the manifest were read by exiftool."""
    cases = need_shared("photo-cases")
    formats = {
        "JPEG": "jpg",
        "PNG": "png",
        "APNG": "png",
        "WEBP": "webp",
        "Extended WEBP": "webp",
        "HEIC": "heic",
        "AVIF": "avif",
    }
    seen = set()
    with (cases / "manifest.csv").open(newline="") as table:
        for row in csv.DictReader(table):
            with (cases / row["file"]).open("rb") as file:
                head = file.read(HEAD_BYTES)
            if suffix := formats.get(row["stored_format"]):
                assert sniff(head) == suffix, row["file"]
            else:
                expected = {"GIF": Reason.GIF, "MP4": Reason.FILM, "": Reason.EMPTY}[row["stored_format"]]
                assert reason_for(head) is expected, row["file"]
            seen.add(row["stored_format"])
    assert seen >= {"JPEG", "PNG", "HEIC", "AVIF", "GIF", "MP4", ""}
