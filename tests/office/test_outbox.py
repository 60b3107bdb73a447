"""Letters as the lead sees them: before they leave, after they have left, and what became of them."""

from datetime import timedelta
from uuid import uuid4

import time_machine
from django.test import Client as Browser
from pytest_django import DjangoCaptureOnCommitCallbacks

from studio.workshop import actions, letters, outbox
from studio.workshop.models import Errand, ErrandState, Job, Kind, Letter, LetterState, Notice, NoticeState, Photo
from tests import builders
from tests.conftest import NOW
from tests.office.rows import run_due, text

TEN = timedelta(minutes=10)


def going(photo: bool = True) -> Notice:
    """A letter of a straight job that leaves at 10:52."""
    job = builders.job()
    builders.link(job)
    builders.log_done(builders.stage(job), photo=photo)
    run_due()
    return Notice.objects.get()


def test_a_going_letter_is_read_and_taken_back(office: Browser) -> None:
    notice = going()
    assert "One letter waits; it leaves at 10:52." in text(office.get("/office/waiting/"))
    page = office.get(f"/office/notices/{notice.pk}/")
    assert "Priya's letter leaves at 10:52: carving of Talking watering can is done." in text(page)
    assert "Talking watering can: carving is done" in text(page)
    answer = office.post(f"/office/notices/{notice.pk}/take-back/", follow=True)
    assert "Taken back: Priya is not told about carving of Talking watering can." in text(answer)
    assert Notice.objects.get().state == NoticeState.WITHDRAWN
    run_due(NOW + TEN)
    assert not Letter.objects.exists()


def test_what_has_left_is_not_taken_back(office: Browser) -> None:
    notice = going()
    run_due(NOW + TEN)
    answer = office.post(f"/office/notices/{notice.pk}/take-back/", follow=True)
    assert "That letter has left already." in text(answer)
    assert Notice.objects.get().state == NoticeState.TOLD
    assert (
        office.get(f"/office/notices/{notice.pk}/").headers["Location"] == f"/office/letters/{Letter.objects.get().pk}/"
    )


def test_the_preview_is_a_sandbox_that_fetches_nothing(office: Browser) -> None:
    going()
    run_due(NOW + TEN)
    letter = Letter.objects.get()
    page = office.get(f"/office/letters/{letter.pk}/")
    assert "Priya was told at 10:52: carving of Talking watering can is done." in text(page)
    assert f'<iframe class="letter" sandbox src="/office/letters/{letter.pk}/html/"' in page.content.decode()
    assert "frame-src 'self'" in page.headers["Content-Security-Policy"]
    assert "frame-ancestors 'none'" in page.headers["Content-Security-Policy"]
    assert page.headers["X-Frame-Options"] == "DENY"
    inside = office.get(f"/office/letters/{letter.pk}/html/")
    assert inside.headers["X-Frame-Options"] == "SAMEORIGIN"
    policy = {part.strip().split(" ")[0]: part.strip() for part in inside.headers["Content-Security-Policy"].split(";")}
    assert policy["default-src"] == "default-src 'none'"
    assert policy["sandbox"] == "sandbox"
    assert policy["frame-ancestors"] == "frame-ancestors 'self'"
    assert "script-src" not in policy
    assert inside.headers["Cache-Control"] == "private, no-store"
    assert "cid:picture" not in inside.content.decode()
    assert 'src="data:image/jpeg;base64,' in inside.content.decode()
    assert letters.read_outbox(letter.pk).text in page.content.decode().replace("&#x27;", "'")


def test_only_the_preview_may_hold_a_frame(office: Browser) -> None:
    assert "frame-src" not in office.get("/office/letters/").headers["Content-Security-Policy"]


def test_a_letter_whose_file_is_gone_is_still_on_record(office: Browser) -> None:
    going()
    run_due(NOW + TEN)
    letter = Letter.objects.get()
    outbox.path(letter.pk).unlink()
    page = office.get(f"/office/letters/{letter.pk}/")
    assert page.status_code == 200
    assert "not in the outbox any more" in text(page)
    assert office.get(f"/office/letters/{letter.pk}/html/").status_code == 404


def test_a_letter_that_cannot_be_written_says_so_before_it_leaves(office: Browser) -> None:
    notice = going(photo=False)
    notice.contact.links.update(revoked_at=NOW)
    page = office.get(f"/office/notices/{notice.pk}/")
    assert "The contact has no e-mail address or no link that opens any more" in text(page)
    assert "<iframe" not in page.content.decode()


def test_the_outbox_pages_by_key_and_by_job(office: Browser) -> None:
    first = going(photo=False)
    run_due(NOW + TEN)
    job, stage = first.job, builders.stage(first.job, "mould")
    entry = builders.log_done(stage, photo=False)
    for number in range(50):
        contact = builders.contact(job, f"Contact{number}")
        told = Notice.objects.create(
            contact=contact, job=job, stage=stage, entry=entry, state=NoticeState.TOLD, at=NOW, leaves_at=NOW
        )
        Letter.objects.create(
            pk=uuid4(), notice=told, contact=contact, job=job, sent_at=NOW + timedelta(hours=1, minutes=number)
        )
    page = office.get(f"/office/letters/?job={job.pk}")
    assert "Contact49 was told" in text(page)
    assert "Priya was told" not in text(page)
    (further,) = [part.split('"')[0] for part in page.content.decode().split('href="?')[1:]]
    last = text(office.get(f"/office/letters/?{further.replace('&amp;', '&')}"))
    assert "Priya was told" in last
    assert "Contact0 was told" not in last
    other = Job.objects.create(client=job.client, name="Other")
    assert "was told" not in text(office.get(f"/office/letters/?job={other.pk}"))


def test_taken_back_after_its_letter_had_gone_is_shown_until_seen(office: Browser) -> None:
    notice = going()
    run_due(NOW + TEN)
    actions.take_back(notice.entry, by=builders.person("Ada"), now=NOW + timedelta(minutes=12))
    with time_machine.travel(NOW + timedelta(minutes=20), tick=False):
        said = text(office.get("/office/waiting/"))
        assert "One stage was taken back." in said
        assert "Ada took back carving of Talking watering can at 10:54. Its letter had gone to Priya at 10:52." in said
        answer = office.post(f"/office/entries/{notice.entry_id}/seen/", follow=True)
    assert "Nothing waits for you." in text(answer)


def test_what_failed_is_a_sentence_with_its_reason_and_is_tried_again(
    office: Browser,
    published: list[str],
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    job = builders.job()
    builders.link(job)
    builders.log_done(builders.stage(job))
    errand = Errand.objects.get(kind=Kind.DEVELOP_PHOTO)
    row = Errand.objects.filter(pk=errand.pk)
    row.update(state=ErrandState.FAILED, strikes=8, error="The disk said: No space left on device.")
    said = text(office.get("/office/waiting/"))
    assert "One thing failed." in said
    assert (
        "A photo of Talking watering can, carving could not be developed: The disk said: No space left on device."
        in said
    )
    with django_capture_on_commit_callbacks(execute=True):
        answer = office.post(f"/office/errands/{errand.pk}/try-again/", follow=True)
    assert "It is being tried again." in text(answer)
    assert published == [str(errand.pk)]
    again = text(office.post(f"/office/errands/{errand.pk}/try-again/", follow=True))
    assert "tried again already" in again
    run_due()
    assert Photo.objects.get().released_at


def test_a_letter_that_failed_names_its_reader_and_one_that_is_unknown_says_so(office: Browser) -> None:
    going()
    Errand.objects.filter(kind=Kind.SEND_LETTER).update(state=ErrandState.FAILED, error="The disk said: Read-only.")
    assert "A letter to Priya about Talking watering can, carving could not be sent: The disk said: Read-only." in text(
        office.get("/office/waiting/")
    )
    Errand.objects.filter(kind=Kind.SEND_LETTER).update(
        state=ErrandState.UNKNOWN, error="It never said.", claimed_at=NOW + TEN
    )
    said = text(office.get("/office/waiting/"))
    assert "carving was probably sent at 10:52. It never said. Ask whether it came, or send it again." in said


def test_what_failed_can_be_left(office: Browser) -> None:
    notice = going()
    errand = Errand.objects.get(kind=Kind.SEND_LETTER)
    Errand.objects.filter(pk=errand.pk).update(state=ErrandState.FAILED, error="The disk said: Read-only.")
    page = office.get("/office/waiting/")
    assert f'formaction="/office/errands/{errand.pk}/leave/"' in page.content.decode()
    answer = office.post(f"/office/errands/{errand.pk}/leave/", follow=True)
    assert "It is put away, and not tried again." in text(answer)
    assert "Nothing waits for you." in text(answer)
    assert Notice.objects.get(pk=notice.pk).state == NoticeState.WITHDRAWN
    again = text(office.post(f"/office/errands/{errand.pk}/leave/", follow=True))
    assert "That is being tried again, or it is done." in again


def test_a_letter_perhaps_sent_is_not_called_sent(office: Browser) -> None:
    going()
    run_due(NOW + TEN)
    Letter.objects.update(state=LetterState.UNKNOWN)
    assert "Nobody knows whether Priya was told at 10:52" in text(office.get("/office/letters/"))


def test_an_errand_that_waits_too_long_and_one_that_is_tried_again_by_itself(office: Browser) -> None:
    job = builders.job()
    builders.link(job)
    builders.log_done(builders.stage(job))
    with time_machine.travel(NOW + timedelta(minutes=5), tick=False):
        assert "One photo is being developed; the first has waited since 10:42." in text(office.get("/office/waiting/"))
        Errand.objects.update(strikes=2, error="It took too long.", due_at=NOW + timedelta(minutes=6))
        assert "will be tried again at 10:48. It took too long." in text(office.get("/office/waiting/"))
