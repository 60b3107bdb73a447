"""A new key for clients' links: the old addresses go on opening, unless somebody says that they must not."""

import os
import stat
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pytest_django import Settings

from studio import keys
from studio.workshop.links import link_for, sign, signed, token_for
from studio.workshop.models import Link
from tests import builders
from tests.conftest import NOW

TODAY = NOW.date()


@pytest.fixture(autouse=True)
def file(tmp_path: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The key of this test's own studio."""
    for name in ("STUDIO_LINK_KEY", "STUDIO_LINK_KEY_FALLBACKS"):
        monkeypatch.delenv(name, raising=False)
    settings.LINK_KEY_FILE = tmp_path / "link.key"
    start_anew(settings)
    return tmp_path / "link.key"


def start_anew(settings: Settings) -> None:
    """As the settings read it."""
    settings.LINK_KEY, *settings.LINK_KEY_FALLBACKS = keys.every("LINK_KEY", settings.LINK_KEY_FILE)


def rotate(*given: str) -> str:
    out = StringIO()
    call_command("rotate_link_key", *given, stdout=out)
    return " ".join(out.getvalue().split())


@pytest.mark.django_db
def test_what_is_out_there_goes_on_opening_and_what_is_written_now_is_new(settings: Settings) -> None:
    link = builders.link(builders.job())
    tokens = [token_for(link)]
    for _ in range(3):
        said = rotate()
        start_anew(settings)
        tokens.append(token_for(link))
    assert len(set(tokens)) == 4
    assert [link_for(token, TODAY) for token in tokens] == [link] * 4
    assert "go on opening, by 3 earlier keys." in said
    assert "start it again" in said


@pytest.mark.django_db
def test_for_a_key_that_leaked_everything_out_there_stops(settings: Settings, file: Path) -> None:
    link = builders.link(builders.job())
    rotate()
    start_anew(settings)
    old = token_for(link)
    said = rotate("--close-old")
    start_anew(settings)
    assert len(file.read_text().split()) == 1
    assert link_for(old, TODAY) is None
    assert link_for(token_for(link), TODAY) == link
    assert said.startswith("Every address of a client that is out there, in letters too, stops opening for good")
    assert "start it again" in said
    assert Link.objects.get().revoked_at is None


@pytest.mark.once
def test_the_file_is_replaced_as_a_whole_and_for_the_owner_only(file: Path) -> None:
    (old,) = file.read_text().split()
    before = file.stat().st_ino
    rotate()
    new, kept = file.read_text().split()
    assert kept == old != new
    assert file.stat().st_ino != before
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert [path.name for path in file.parent.iterdir() if path.name.startswith(".")] == []


@pytest.mark.once
def test_where_the_disk_is_full_the_old_key_stays(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = file.read_text()

    def full(handle: int) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        rotate()
    assert file.read_text() == before
    assert [path.name for path in file.parent.iterdir() if path.name.startswith(".")] == []


@pytest.mark.once
@pytest.mark.parametrize(
    ("given", "what_to_do"),
    [((), "add the old one to STUDIO_LINK_KEY_FALLBACKS"), (("--close-old",), "empty STUDIO_LINK_KEY_FALLBACKS")],
)
def test_a_key_from_the_environment_is_changed_there(
    given: tuple[str, ...], what_to_do: str, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = file.read_text()
    monkeypatch.setenv("STUDIO_LINK_KEY", "x" * 40)
    with pytest.raises(CommandError, match=what_to_do):
        rotate(*given)
    assert file.read_text() == before


@pytest.mark.once
def test_earlier_keys_of_the_environment_are_not_forgotten_in_silence(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = file.read_text()
    monkeypatch.setenv("STUDIO_LINK_KEY_FALLBACKS", "x" * 40)
    with pytest.raises(CommandError, match="would still open"):
        rotate("--close-old")
    assert file.read_text() == before
    assert "go on opening" in rotate()


@pytest.mark.once
def test_any_text_can_be_signed_and_every_key_knows_its_own(settings: Settings) -> None:
    given = sign("stop letters:abc:1")
    assert len(given) == 24
    assert signed("stop letters:abc:1", given)
    assert not signed("stop letters:abc:2", given)
    for wrong in ("", given[:-1], given + "A", given.swapcase(), "é" * 24, "\udcff"):
        assert not signed("stop letters:abc:1", wrong)
    rotate()
    start_anew(settings)
    assert signed("stop letters:abc:1", given)
    assert sign("stop letters:abc:1") != given
    rotate("--close-old")
    start_anew(settings)
    assert not signed("stop letters:abc:1", given)
