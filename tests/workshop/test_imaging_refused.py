"""What is no photo is refused with a reason, before it costs anything, and nothing else is ever raised."""

import errno
import struct
import tracemalloc
import warnings
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from fixtures.photos import phone
from studio.workshop.imaging import EDGES, develop
from studio.workshop.sniff import MOST_BYTES, NotAPhoto, Reason
from tests.workshop.pictures import (
    RED,
    kept,
    reason_for,
    saved,
)

pytestmark = pytest.mark.once


@pytest.mark.parametrize("edge", [8_100, 20_000, 30_000])
@pytest.mark.parametrize("warnings_are", ["ignored", "errors"])
def test_a_bomb_is_refused_before_it_is_decoded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, edge: int, warnings_are: str
) -> None:
    path = kept(tmp_path, phone.huge(edge))
    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", lambda _: pytest.fail("decoded"))
    tracemalloc.start()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore" if warnings_are == "ignored" else "error", Image.DecompressionBombWarning)
        assert reason_for(path) is Reason.TOO_LARGE
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 5_000_000


@pytest.mark.parametrize(
    ("width", "height", "progressive", "reason"),
    [
        (10_000, 7_000, False, None),
        (10_000, 7_000, True, Reason.TOO_LARGE),
        (15_000, 14_001, False, Reason.TOO_LARGE),
        (65_500, 3_300, False, Reason.TOO_LARGE),
    ],
)
def test_the_limit_depends_on_what_decoding_costs(
    tmp_path: Path, width: int, height: int, progressive: bool, reason: Reason | None
) -> None:
    """A small photo whose header was made to claim more pixels; a JPEG reader fills in what it does not find."""
    photo = bytearray(saved(Image.new("RGB", (64, 48), RED), "JPEG", progressive=progressive))
    frame = photo.index(b"\xff\xc2" if progressive else b"\xff\xc0")
    photo[frame + 5 : frame + 9] = struct.pack(">HH", height, width)  # ITU-T T.81 B.2.2
    path = kept(tmp_path, bytes(photo))
    if reason:
        assert reason_for(path) is reason
    else:
        assert develop(path)[0].width >= 0.9 * EDGES[0]


def test_a_thread_of_a_picture_is_refused(tmp_path: Path) -> None:
    assert reason_for(kept(tmp_path, saved(Image.new("L", (65_536, 2)), "PNG"))) is Reason.TOO_LARGE
    assert develop(kept(tmp_path, saved(Image.new("L", (65_535, 2)), "PNG")))[0].height == 1


def test_a_file_of_too_many_bytes_is_refused_unread(tmp_path: Path) -> None:
    path = kept(tmp_path, phone.textured(64, 48, seed=1))
    with path.open("r+b") as file:
        file.truncate(MOST_BYTES)
    assert len(develop(path)) == 3
    with path.open("r+b") as file:
        file.truncate(MOST_BYTES + 1)
    assert reason_for(path) is Reason.TOO_LARGE


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF", "AVIF"])
@pytest.mark.parametrize("part", [0.3, 0.6, 0.9, 0.98])
def test_a_photo_cut_short_is_never_shown_half_grey(tmp_path: Path, kind: str, part: float) -> None:
    whole = saved(Image.open(BytesIO(phone.textured(320, 240, seed=4))), kind, quality=90)
    reason = reason_for(kept(tmp_path, phone.cut_short(whole, part)))
    assert reason in {Reason.INCOMPLETE, Reason.DAMAGED}
    if kind in {"JPEG", "PNG", "HEIF"}:
        assert reason is Reason.INCOMPLETE


def test_what_is_no_photo_keeps_the_reason_of_its_head(tmp_path: Path) -> None:
    expected = {b"": Reason.EMPTY, phone.film(): Reason.FILM, phone.not_a_photo(): Reason.NOT_A_PHOTO}
    for content, reason in expected.items():
        assert reason_for(kept(tmp_path, content)) is reason
    assert reason_for(kept(tmp_path, saved(Image.new("RGB", (8, 8)), "GIF"))) is Reason.GIF
    assert reason_for(kept(tmp_path, saved(Image.new("RGB", (8, 8)), "TIFF"))) is Reason.RAW


def test_a_disk_that_fails_is_not_the_fault_of_the_photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(FileNotFoundError):
        develop(tmp_path / "gone")

    def fail(_: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", fail)
    with pytest.raises(OSError, match="Input/output"):
        develop(kept(tmp_path, phone.textured(64, 48, seed=1)))


def small_photos() -> list[bytes]:
    picture = Image.open(BytesIO(phone.textured(96, 64, seed=9)))
    exif = Image.Exif()
    exif[0x0112] = 5
    kinds = ("JPEG", "PNG", "WEBP", "HEIF", "AVIF")
    photos = [saved(picture, kind, icc_profile=phone.display_p3(), exif=exif.tobytes()) for kind in kinds]
    return [*photos, saved(picture, "JPEG", progressive=True), saved(picture.convert("P"), "PNG")]


def develops_or_refuses(path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow says a word about damaged tags
        try:
            developed = develop(path)
        except NotAPhoto:
            return
    assert len(developed) == len(EDGES)


thorough = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@thorough
@given(
    content=st.binary(max_size=300),
    head=st.sampled_from([b"", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n", b"\0\0\0\x18ftypheic"]),
)
def test_any_bytes_are_refused_and_nothing_else_is_raised(tmp_path: Path, content: bytes, head: bytes) -> None:
    develops_or_refuses(kept(tmp_path, head + content))


@thorough
@given(photo=st.sampled_from(small_photos()), start=st.floats(0, 1), end=st.floats(0, 1))
def test_any_piece_of_a_photo_is_developed_or_refused(tmp_path: Path, photo: bytes, start: float, end: float) -> None:
    develops_or_refuses(kept(tmp_path, photo[: int(len(photo) * start)] + photo[int(len(photo) * end) :]))


@thorough
@given(
    photo=st.sampled_from(small_photos()),
    changes=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), max_size=8),
)
def test_a_photo_with_changed_bytes_is_developed_or_refused(
    tmp_path: Path, photo: bytes, changes: list[tuple[float, int]]
) -> None:
    changed = bytearray(photo)
    for place, value in changes:
        changed[int(len(changed) * place)] = value
    develops_or_refuses(kept(tmp_path, bytes(changed)))
