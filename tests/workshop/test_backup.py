"""The drill: a record is backed up, lost and restored. It is the same record, old links open, and nothing is sent again."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from pytest_django import Settings

from studio.env import MailServer, Tls
from studio.workshop import actions
from studio.workshop.invitations import person_for, token_for
from studio.workshop.links import path_for
from studio.workshop.models import (
    Contact,
    Errand,
    ErrandState,
    Kind,
    Letter,
    Notice,
    NoticeState,
    Person,
    Photo,
    Plan,
    Release,
    Stage,
    StageKind,
)
from tests import builders
from tests.conftest import NOW
from tests.mail_sink import How, mailbox, sink
from tests.workshop import records

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])
LATER = NOW + timedelta(days=3)


@pytest.fixture(autouse=True)
def _nobody_is_nudged(published: list[str]) -> None:
    """Nothing here has a broker."""


def page_and_pictures(path: str) -> dict[str, bytes]:
    """A client's page and every picture on it."""
    with time_machine.travel(NOW, tick=False):
        page = Client().get(path)
        assert page.status_code == 200
        found = {path: page.content}
        for name in set(re.findall(r"[0-9a-f]{64}\.jpg", page.content.decode())):
            picture = Client().get(path + name)
            assert picture.status_code == 200
            found[name] = b"".join(picture)
    return found


def test_the_drill(tmp_path: Path) -> None:
    links = records.fill()
    paths = [path_for(link) for link in links]
    pages = [page_and_pictures(path) for path in paths]
    assert len(pages[0]) > 1  # a photo of the first is on its page
    before, photos, letters = records.rows(), records.files(settings.MEDIA_ROOT), records.files(settings.OUTBOX)
    assert len(letters) == 1

    said = records.back_up(tmp_path / "copy")
    assert re.search(r": \d+ rows, photos with their copies 5, letters 1, [\d.]+ .B, in \d+ s\. Verified\.\n$", said)
    records.lose()
    assert Client().get(paths[0]).status_code == 404
    said = records.restore(tmp_path / "copy")
    assert "Letters held, because they may have left since: 4." in said

    after = records.rows()
    held = hold(before)
    assert after.keys() == before.keys()
    for table in before:
        if table == "workshop_errand":  # those that were not there keep back what a photo, or a lead, would let go
            new = [after[table].pop(key) for key in after[table].keys() - before[table].keys()]
            assert [(row["kind"], row["state"]) for row in new] == 2 * [(Kind.SEND_LETTER, ErrandState.UNKNOWN)]
        assert after[table] == held[table], table
    assert [table for table, found in before.items() if not found] == []
    assert records.files(settings.MEDIA_ROOT) == photos
    assert records.files(settings.OUTBOX) == letters
    assert [page_and_pictures(path) for path in paths] == pages

    # Nothing is sent again, whatever the studio does by itself.
    records.run_everything(LATER)
    assert records.files(settings.OUTBOX) == letters
    assert Letter.objects.count() == 1
    assert not Errand.objects.filter(state__in=[ErrandState.WAITING, ErrandState.RUNNING]).exists()
    assert not Photo.objects.filter(state="waiting").exists()
    assert Plan.objects.exists()


def test_a_way_in_that_was_used_since_opens_no_second_time(tmp_path: Path) -> None:
    ada = actions.invite(builders.person("Ada"), by=None, now=NOW)
    way_in = token_for(ada)
    assert person_for(way_in, NOW) == ada
    records.back_up(tmp_path / "copy")
    actions.accept_invitation(ada, "a lump of wet plaster", now=NOW)
    records.lose()
    records.restore(tmp_path / "copy")
    assert not Person.objects.get(name="Ada").has_usable_password()
    assert person_for(way_in, NOW) is None


def hold(before: records.Rows) -> records.Rows:
    """What should have become of the rows: letters that were to leave are held, and what was begun begins anew."""
    held = {table: {key: dict(row) for key, row in found.items()} for table, found in before.items()}
    for errand in held["workshop_errand"].values():
        if errand["state"] not in {"waiting", "running", "handing", "failed"}:
            continue
        if errand["kind"] in {"send_letter", "tell_lead", "invite", "test_letter"}:
            sentence = "It waited when the back-up was made, and may have left since."
            errand |= {
                "state": "unknown",
                "error": sentence,
                "nudged_at": None,
                "lease_until": None,
                "claimed_at": None,
            }
        elif errand["state"] in {"running", "handing"}:
            errand |= {"state": "waiting", "nudged_at": None, "lease_until": None}
    for notice in held["workshop_notice"].values():
        if notice["state"] == "owed":
            notice |= {"state": "going", "leaves_at": NOW}
    return held


def test_letters_that_left_after_the_back_up_do_not_leave_twice(tmp_path: Path, settings: Settings) -> None:
    """Through a mail server: what waited is backed up, leaves, and is lost with all that was written since."""
    records.fill()
    lead = str(builders.lead().pk)
    anybody: list[Contact | Person] = [*Contact.objects.all(), *Person.objects.all()]
    for number, reader in enumerate(anybody):
        reader.email = mailbox(How.OK, number)
        reader.save()
    Errand.objects.create(kind=Kind.TEST_LETTER, key=f"test_letter:{lead}", subject=lead, asked_at=NOW, due_at=NOW)
    records.back_up(tmp_path / "copy")
    with sink() as server, time_machine.travel(LATER, tick=False):
        settings.MAIL = MailServer("127.0.0.1", server.port, "", "", Tls.NONE)
        records.run_everything(LATER)
        left, tried = list(server.accepted), server.tries.total()
        assert len(left) == tried == 4  # of two stages, to a lead of what is stuck, and the test
        records.lose()
        records.restore(tmp_path / "copy")
        for later in (LATER, LATER + timedelta(days=1)):
            records.run_everything(later)
        assert server.accepted == left
        assert server.tries.total() == tried
    assert Errand.objects.filter(state=ErrandState.UNKNOWN).count() == 5  # and what waited for the lead's look


def test_what_a_lead_let_go_or_mended_since_does_not_go_twice_by_the_same_act(
    tmp_path: Path, settings: Settings
) -> None:
    """A letter that was refused and one that waited for the lead's word: both left after the back-up."""
    looked = builders.link(builders.job(release=Release.LOOKED), "Priya", mailbox(How.OK, 1))
    refused = builders.link(builders.job("Ammonite", client="Harbour Museum"), "Tom", mailbox(How.REFUSE_RCPT, 2))
    entries = [builders.log_done(builders.stage(link.job), photo=False) for link in (looked, refused)]
    with sink() as server, time_machine.travel(LATER, tick=False):
        settings.MAIL = MailServer("127.0.0.1", server.port, "", "", Tls.NONE)
        records.run_everything(NOW + timedelta(minutes=11))
        records.back_up(tmp_path / "copy")

        def act() -> None:
            contact = Contact.objects.get(name="Tom")
            actions.change_contact(
                contact,
                name="Tom",
                email=mailbox(How.OK, 3),
                version=contact.version,
                by=builders.lead(),
                now=NOW + timedelta(minutes=12),
            )
            entry = type(entries[0]).objects.select_related("stage__kind", "stage__piece__job").get(pk=entries[0].pk)
            actions.send_word(entry, by=builders.lead(), now=NOW + timedelta(minutes=12))
            records.run_everything(LATER)

        act()
        assert len(server.accepted) == 2
        records.lose()
        records.restore(tmp_path / "copy")
        act()
        assert len(server.accepted) == 2
    assert Errand.objects.filter(kind=Kind.SEND_LETTER, state=ErrandState.UNKNOWN).count() == 2


def test_what_is_made_next_gets_numbers_that_were_never_given(tmp_path: Path) -> None:
    """History names what was deleted by its number; another of that number would take over its past."""
    first, *_ = records.fill()
    kind = StageKind.objects.get(name="paint")
    deleted = actions.add_stage(builders.piece(first.job), kind=kind, by=builders.lead(), now=NOW).pk
    Stage.objects.filter(pk=deleted).delete()
    last_contact = Contact.objects.latest("pk").pk
    records.back_up(tmp_path / "copy")
    records.lose()
    records.restore(tmp_path / "copy")
    link = builders.link(builders.job("Signpost"))
    stages = Stage.objects.filter(piece__job=link.job).values_list("pk", flat=True)
    assert min(stages) == deleted + 1
    assert link.contact_id == last_contact + 1
    entry = builders.log_done(builders.stage(link.job), now=LATER)
    builders.work(LATER)
    builders.work(LATER + timedelta(minutes=10))
    assert Letter.objects.get(notice__entry=entry).contact == link.contact


def test_a_letter_that_is_held_leaves_with_its_picture_once_somebody_says_so(tmp_path: Path) -> None:
    *_, late = records.fill()
    records.back_up(tmp_path / "copy")
    records.lose()
    records.restore(tmp_path / "copy")
    records.run_everything(LATER)
    held = Errand.objects.get(kind=Kind.SEND_LETTER, subject=str(Notice.objects.get(job=late.job).pk))
    actions.try_again(held.pk, by=builders.lead(), now=LATER)
    builders.work(LATER)
    letter = Letter.objects.get(notice__job=late.job)
    assert letter.photo == Photo.objects.get(stage__piece__job=late.job)
    assert letter.notice is not None
    assert letter.notice.state == NoticeState.TOLD
    records.run_everything(LATER + timedelta(days=1))
    assert Letter.objects.filter(notice__job=late.job).count() == 1


def test_an_errand_in_the_midst_of_handing_over_is_held(tmp_path: Path) -> None:
    records.fill()
    errand = Errand.objects.filter(kind=Kind.SEND_LETTER, state=ErrandState.WAITING).get()
    Errand.objects.filter(pk=errand.pk).update(state=ErrandState.HANDING, lease_until=NOW)
    for kind in (Kind.INVITE, Kind.TEST_LETTER):
        Errand.objects.create(kind=kind, key=f"{kind}:1", subject="1", asked_at=NOW, due_at=NOW)
    records.back_up(tmp_path / "copy")
    records.lose()
    records.restore(tmp_path / "copy")
    letters = Errand.objects.filter(kind__in=[Kind.SEND_LETTER, Kind.TELL_LEAD, Kind.INVITE, Kind.TEST_LETTER])
    states = set(letters.exclude(state=ErrandState.DONE).values_list("kind", "state", "lease_until"))
    assert states == {(kind, "unknown", None) for kind in ("send_letter", "tell_lead", "invite", "test_letter")}


def test_a_back_up_of_what_was_restored_is_the_same_again(tmp_path: Path) -> None:
    records.fill()
    records.back_up(tmp_path / "first")
    records.lose()
    records.restore(tmp_path / "first")
    records.back_up(tmp_path / "second")
    records.lose()
    records.restore(tmp_path / "second")
    records.back_up(tmp_path / "third")
    assert records.files(tmp_path / "second") == records.files(tmp_path / "third")
