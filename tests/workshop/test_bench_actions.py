"""Logging at the bench: once however often it is sent, and taken back while nothing has gone."""

from datetime import datetime, timedelta
from uuid import uuid4

import pytest

from studio.workshop import actions, duties, errands
from studio.workshop.models import (
    Entry,
    Errand,
    ErrandState,
    History,
    Kind,
    Letter,
    Notice,
    NoticeState,
    Photo,
    Release,
    Role,
    Says,
    Stage,
    Wanted,
    coming_for,
)
from tests import builders

pytestmark = pytest.mark.django_db


def run_due(at: datetime) -> None:
    """What workers would do until nothing is due any more."""
    for _ in range(5):
        for errand in Errand.objects.filter(state=ErrandState.WAITING, due_at__lte=at):
            duties.run(errand.pk, lambda: at)
            assert not Errand.objects.get(pk=errand.pk).error


def test_the_same_form_sent_three_times_is_one_entry(now: datetime, published: list[str]) -> None:
    job = builders.job()
    builders.link(job)
    stage, entry_id = builders.stage(job), uuid4()
    answers = [builders.log_done(stage, entry_id=entry_id, now=now + timedelta(seconds=n)) for n in range(3)]
    assert {answer.pk for answer in answers} == {entry_id}
    assert Entry.objects.get().at == now
    assert Photo.objects.count() == 1
    assert Notice.objects.count() == 1
    assert Errand.objects.filter(kind=Kind.DEVELOP_PHOTO).count() == 1
    assert History.objects.filter(verb="logged done").count() == 1


def test_a_form_id_used_for_another_stage_is_refused(now: datetime, published: list[str]) -> None:
    job = builders.job()
    first = builders.log_done(builders.stage(job))
    with pytest.raises(actions.Refused):
        builders.log_done(builders.stage(job, "mould"), entry_id=first.pk)
    assert builders.stage(job, "mould").done_at is None


def test_two_makers_log_one_stage_and_both_photos_are_kept(now: datetime, published: list[str]) -> None:
    job = builders.job()
    stage = builders.stage(job)
    ada = builders.log_done(stage, by=builders.person("Ada"), content=builders.jpeg("red"))
    bo = builders.log_done(stage, by=builders.person("Bo"), content=builders.jpeg("blue"))
    assert (ada.says, bo.says) == (Says.DONE, Says.PHOTO)
    assert Photo.objects.filter(stage=stage).count() == 2
    assert builders.stage(job).done_by == builders.person("Ada")


def test_done_again_without_a_photo_answers_with_the_first_entry(now: datetime, published: list[str]) -> None:
    stage = builders.stage(builders.job())
    ada = builders.log_done(stage, by=builders.person("Ada"))
    again = builders.log_done(stage, by=builders.person("Bo"), photo=False)
    assert again == ada
    assert Entry.objects.count() == 1


def test_without_a_sentence_the_studios_own_is_used(now: datetime, published: list[str]) -> None:
    stage = builders.stage(builders.job())
    assert builders.log_done(stage, photo=False).sentence == stage.kind.sentence
    mould = builders.stage(Stage.objects.get(pk=stage.pk).piece.job, "mould")
    assert builders.log_done(mould, photo=False, sentence="In two halves.").sentence == "In two halves."


def test_a_note_for_ours_only_never_borrows_the_clients_sentence(now: datetime, published: list[str]) -> None:
    assert builders.log_done(builders.stage(builders.job()), for_client=False).sentence == ""


def test_straight_releases_when_developed_and_the_letter_leaves_after_ten_minutes(
    now: datetime, published: list[str]
) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    builders.log_done(builders.stage(job))
    assert not Photo.objects.shown().exists()
    run_due(now)
    assert Photo.objects.shown().count() == 1
    notice = Notice.objects.get()
    assert (notice.state, notice.leaves_at) == (NoticeState.GOING, now + timedelta(minutes=10))
    run_due(now + timedelta(minutes=9, seconds=59))
    assert not Letter.objects.exists()
    run_due(now + timedelta(minutes=10))
    letter = Letter.objects.get()
    assert letter.photo == Photo.objects.get()
    assert Notice.objects.get().state == NoticeState.TOLD


def test_when_the_lead_has_looked_nothing_goes_before(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    builders.log_done(builders.stage(job))
    run_due(now + timedelta(days=2))
    assert not Photo.objects.shown().exists()
    assert not Letter.objects.exists()
    photo = Photo.objects.to_look_at().select_related("entry__stage__piece__job", "stage__piece__job").get()
    later = now + timedelta(days=2)
    assert actions.release_photos([photo], by=builders.lead(), now=later) == 1
    assert actions.release_photos([photo], by=builders.lead(), now=later) == 0
    assert Photo.objects.shown().count() == 1
    run_due(later + timedelta(minutes=9))
    assert not Letter.objects.exists()
    run_due(later + timedelta(minutes=10))
    assert Letter.objects.count() == 1


def test_a_stage_done_without_a_photo_waits_for_the_lead_or_goes_straight(now: datetime, published: list[str]) -> None:
    straight = builders.job("Pretzel", client="Kneading Lane Bakery", release=Release.STRAIGHT)
    looked = builders.job("Whale ear bone", client="Tide Hall", release=Release.LOOKED)
    for job in (straight, looked):
        builders.link(job)
        entry = builders.log_done(builders.stage(job), photo=False)
    run_due(now + timedelta(hours=1))
    assert {letter.job for letter in Letter.objects.all()} == {straight}
    assert actions.send_word(entry, by=builders.lead(), now=now) == 1
    run_due(now + timedelta(hours=1))
    assert Letter.objects.count() == 2


def test_what_is_for_us_only_is_never_shown(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    builders.log_done(builders.stage(job), for_client=False, sentence="Gel coat too thin at the lip.")
    run_due(now + timedelta(hours=1))
    assert not Photo.objects.shown().exists()
    letter = Letter.objects.get()
    assert letter.photo is None
    from studio.workshop.letters import read_outbox

    assert "too thin" not in read_outbox(letter.pk).text


def test_taken_back_before_the_letter_left_nothing_is_sent(now: datetime, published: list[str]) -> None:
    job = builders.job()
    builders.link(job)
    entry = builders.log_done(builders.stage(job))
    run_due(now)
    actions.take_back(entry, by=builders.person("Ada"), now=now + timedelta(minutes=5))
    run_due(now + timedelta(hours=2))
    assert not Letter.objects.exists()
    assert builders.stage(job).done_at is None
    assert not Photo.objects.shown().exists()
    assert Notice.objects.get().state == NoticeState.WITHDRAWN


def test_done_again_after_taking_back_sends_one_letter(now: datetime, published: list[str]) -> None:
    job = builders.job()
    builders.link(job)
    actions.take_back(builders.log_done(builders.stage(job)), by=builders.person("Ada"), now=now)
    builders.log_done(builders.stage(job), now=now + timedelta(minutes=1))
    run_due(now + timedelta(hours=2))
    assert Letter.objects.count() == 1


def test_taken_back_after_the_letter_left_nothing_more_is_sent(now: datetime, published: list[str]) -> None:
    job = builders.job()
    builders.link(job)
    entry = builders.log_done(builders.stage(job))
    run_due(now + timedelta(minutes=11))
    assert Letter.objects.count() == 1
    actions.take_back(entry, by=builders.person("Ada"), now=now + timedelta(minutes=12))
    builders.log_done(builders.stage(job), now=now + timedelta(minutes=13))
    run_due(now + timedelta(hours=2))
    assert Letter.objects.count() == 1
    assert Entry.objects.get(pk=entry.pk).notices.get().state == NoticeState.TOLD


def test_it_is_too_late_after_24_hours_or_once_the_next_stage_began(now: datetime, published: list[str]) -> None:
    job = builders.job()
    ada = builders.person("Ada")
    entry = builders.log_done(builders.stage(job), by=ada)
    with pytest.raises(actions.TooLate):
        actions.take_back(entry, by=ada, now=now + timedelta(hours=24, seconds=1))
    with pytest.raises(actions.TooLate):
        actions.take_back(entry, by=builders.person("Bo"), now=now)
    builders.log_done(builders.stage(job, "mould"), by=ada)
    with pytest.raises(actions.TooLate):
        actions.take_back(entry, by=ada, now=now)
    assert builders.stage(job).done_at is not None
    actions.take_back(entry, by=builders.lead(), now=now + timedelta(days=3))  # a lead always may
    assert builders.stage(job).done_at is None


def test_taking_back_twice_is_the_same_as_once(now: datetime, published: list[str]) -> None:
    ada = builders.person("Ada")
    entry = builders.log_done(builders.stage(builders.job()), by=ada)
    first = actions.take_back(entry, by=ada, now=now)
    assert actions.take_back(entry, by=ada, now=now + timedelta(hours=30)) == first
    assert History.objects.filter(verb="took back").count() == 1


def test_a_file_that_only_looks_like_a_photo_leaves_the_stage_done(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    builders.log_done(builders.stage(job), content=builders.jpeg()[:200])
    run_due(now)
    photo = Photo.objects.get()
    assert (photo.state, photo.reason) == ("unreadable", "incomplete")
    assert builders.stage(job).done_at == now
    assert Errand.objects.get(kind=Kind.DEVELOP_PHOTO).state == ErrandState.DONE
    assert Notice.objects.get().state == NoticeState.OWED  # the lead decides whether word goes without it


def test_history_can_only_be_added_to(now: datetime, published: list[str]) -> None:
    builders.log_done(builders.stage(builders.job()))
    with pytest.raises(TypeError):
        History.objects.all().delete()
    with pytest.raises(TypeError):
        History.objects.update(verb="nothing")


def test_a_revoked_link_gets_no_letter(now: datetime, published: list[str]) -> None:
    job = builders.job()
    link = builders.link(job)
    builders.log_done(builders.stage(job))
    run_due(now)
    actions.revoke_link(link, by=builders.lead(), now=now)
    run_due(now + timedelta(hours=1))
    assert not Letter.objects.exists()


def test_each_contact_gets_one_letter_a_stage(now: datetime, published: list[str]) -> None:
    job = builders.job()
    for name in ("Priya", "Tom"):
        builders.link(job, name)
    builders.link(job, "Nobody", email="")
    builders.log_done(builders.stage(job))
    run_due(now + timedelta(hours=1))
    assert sorted(str(letter.contact) for letter in Letter.objects.all()) == ["Priya", "Tom"]


def test_nothing_is_nudged_by_a_transaction_that_is_undone(
    now: datetime, published: list[str], django_capture_on_commit_callbacks: object
) -> None:
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator]
        builders.log_done(builders.stage(builders.job()))
    assert sorted(published) == sorted(
        str(errand.pk) for errand in Errand.objects.all()
    )  # the photo, and the plan: once each
    assert errands.sweep(now) == 0


@pytest.mark.parametrize(("release", "at_once"), [(Release.STRAIGHT, True), (Release.LOOKED, False)])
def test_a_makers_words_wait_for_the_lead_like_the_photo(
    now: datetime, published: list[str], release: Release, at_once: bool
) -> None:
    job = builders.job(release=release)
    entry = builders.log_done(builders.stage(job), sentence="The spout took three goes.", photo=False)
    assert (entry.released_at is not None) is at_once
    actions.send_word(entry, by=builders.lead(), now=now)
    assert Entry.objects.get(pk=entry.pk).released_at == now


def test_what_was_for_us_is_the_clients_once_the_lead_writes_the_words(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.LOOKED)
    entry = builders.log_done(builders.stage(job), for_client=False, sentence="Lip too thin.")
    run_due(now)
    photos = list(Photo.objects.select_related("entry__stage__piece__job", "stage__piece__job"))
    actions.release_photos(photos, by=builders.lead(), now=now)
    assert not Entry.objects.get(pk=entry.pk).for_client
    actions.release_photos(photos, sentence="The first layer.", by=builders.lead(), now=now)
    assert Entry.objects.get(pk=entry.pk).for_client


def test_a_photo_kept_back_takes_its_letters_hour_away(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    builders.log_done(builders.stage(job))
    run_due(now)
    photos = list(Photo.objects.select_related("entry__stage__piece__job", "stage__piece__job"))
    actions.keep_for_us(photos, by=builders.lead(), now=now)
    run_due(now + timedelta(hours=1))
    assert not Letter.objects.exists()
    assert Notice.objects.get().state == NoticeState.OWED
    actions.release_photos(photos, by=builders.lead(), now=now + timedelta(hours=1))
    run_due(now + timedelta(hours=2))
    assert Letter.objects.count() == 1


def test_what_waits_is_still_to_be_looked_at_when_the_job_goes_straight(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.log_done(builders.stage(job))
    run_due(now)
    actions.change_job(
        job,
        name=job.name,
        release=Release.STRAIGHT,
        wanted_day=None,
        wanted_means=Wanted.THERE,
        fixed=False,
        van_day=None,
        closed_on=None,
        version=job.version,
        by=builders.lead(),
        now=now,
    )
    assert Photo.objects.to_look_at().count() == 1
    assert not Photo.objects.shown().exists()


def test_done_on_a_closed_job_is_refused_and_nothing_is_kept(now: datetime, published: list[str]) -> None:
    job = builders.job()
    job.closed_on = now.date()
    job.save()
    with pytest.raises(actions.Refused):
        builders.log_done(builders.stage(job))
    assert not Entry.objects.exists()


def test_a_retake_lets_the_letter_go_that_the_spoilt_photo_held(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    stage = builders.stage(job)
    builders.log_done(stage, content=builders.jpeg()[:200])
    run_due(now)
    assert Notice.objects.get().state == NoticeState.OWED
    actions.log_at_bench(
        entry_id=uuid4(), stage=stage, says=Says.PHOTO, photos=builders.kept(), by=builders.person("Ada"), now=now
    )
    run_due(now + timedelta(hours=1))
    assert Letter.objects.get().photo == Photo.objects.shown().get()


def test_of_two_photos_one_that_came_out_is_enough(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    good, spoilt = builders.kept(), builders.kept(builders.jpeg("red")[:200])
    stage, ada = builders.stage(job), builders.person("Ada")
    actions.log_at_bench(entry_id=uuid4(), stage=stage, says=Says.DONE, photos=[*good, *spoilt], by=ada, now=now)
    run_due(now + timedelta(hours=1))
    assert Letter.objects.count() == 1


def test_a_letter_that_could_not_be_written_has_not_left_and_can_be_taken_back(
    now: datetime, published: list[str]
) -> None:
    job = builders.job(release=Release.STRAIGHT)
    contact = builders.link(job).contact
    entry = builders.log_done(builders.stage(job), photo=False)
    actions.change_contact(contact, name="Priya", email="", version=1, by=builders.lead(), now=now)
    later = now + timedelta(minutes=11)
    errand = Errand.objects.get(kind=Kind.SEND_LETTER)
    duties.run(errand.pk, lambda: later)
    errand.refresh_from_db()
    assert errand.state == ErrandState.FAILED
    assert Notice.objects.get().state == NoticeState.GOING
    actions.take_back(entry, by=builders.person("Ada"), now=later)
    actions.change_contact(contact, name="Priya", email="p@client.example", version=2, by=builders.lead(), now=now)
    run_due(later + timedelta(hours=1))
    with pytest.raises(actions.Refused):
        actions.try_again(errand.pk, by=builders.lead(), now=later)
    assert not Letter.objects.exists()
    assert Notice.objects.get().state == NoticeState.WITHDRAWN


def test_a_letter_that_the_disk_refused_can_still_be_taken_back(
    now: datetime, published: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    entry = builders.log_done(builders.stage(job), photo=False)

    def full(*args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("studio.workshop.outbox.put", full)
    later = now + timedelta(minutes=11)
    errand = Errand.objects.get(kind=Kind.SEND_LETTER)
    duties.run(errand.pk, lambda: later)
    assert Notice.objects.get().state == NoticeState.GOING
    actions.take_back(entry, by=builders.person("Ada"), now=later)
    monkeypatch.undo()
    run_due(later + timedelta(hours=1))
    assert not Letter.objects.exists()


def test_a_failed_letter_can_be_put_away(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.STRAIGHT)
    contact = builders.link(job).contact
    builders.log_done(builders.stage(job), photo=False)
    actions.change_contact(contact, name="Priya", email="", version=1, by=builders.lead(), now=now)
    errand = Errand.objects.get(kind=Kind.SEND_LETTER)
    duties.run(errand.pk, lambda: now + timedelta(minutes=11))
    actions.leave_errand(errand.pk, by=builders.lead(), now=now)
    errand.refresh_from_db()
    assert errand.state == ErrandState.DONE
    assert Notice.objects.get().state == NoticeState.WITHDRAWN


def test_showing_can_be_undone_and_waits_for_the_look_again(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    entry = builders.log_done(builders.stage(job))
    run_due(now)
    photos = list(Photo.objects.select_related("entry__stage__piece__job", "stage__piece__job"))
    actions.release_photos(photos, by=builders.lead(), now=now)
    actions.look_again(photos, by=builders.lead(), now=now)
    assert Photo.objects.to_look_at().count() == 1
    assert Entry.objects.get(pk=entry.pk).released_at is None
    run_due(now + timedelta(hours=1))
    assert not Letter.objects.exists()
    assert Notice.objects.get().state == NoticeState.OWED


def test_words_written_at_the_bench_can_be_changed_and_a_stale_change_is_refused(
    now: datetime, published: list[str]
) -> None:
    entry = builders.log_done(builders.stage(builders.job()), sentence="Typo hier.")
    actions.change_words(entry, sentence="Typo mended.", version=1, by=builders.lead(), now=now)
    with pytest.raises(actions.Stale):
        actions.change_words(entry, sentence="Another.", version=1, by=builders.lead(), now=now)
    assert Entry.objects.get().sentence == "Typo mended."


def test_what_was_given_to_somebody_who_left_is_everybodys(now: datetime, published: list[str]) -> None:
    rev, ada = builders.person("Rev"), builders.person("Ada")
    stage = builders.stage(builders.job(maker=rev))
    assert not coming_for(ada)
    actions.change_person(
        rev, name="Rev", email=rev.email, role=Role.MAKER, is_active=False, version=1, by=builders.lead(), now=now
    )
    assert [row.stage for row in coming_for(ada)] == [stage.pk]


def test_words_confirmed_over_somebody_elses_are_stale(now: datetime) -> None:
    job = builders.job()
    builders.confirm(job, words="On time.")
    with pytest.raises(actions.Stale):
        actions.confirm_words(job, words="Late.", after=None, by=builders.lead(), now=now)


def test_one_address_is_written_to_once(now: datetime) -> None:
    job = builders.job()
    builders.contact(job, "Priya")
    with pytest.raises(actions.Refused):
        builders.contact(job, "Twin", email="PRIYA@client.example")


def test_a_photo_whose_errand_was_put_away_counts_as_spoilt_and_the_lead_decides(
    now: datetime, published: list[str]
) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    builders.log_done(builders.stage(job))
    errand = Errand.objects.get(kind=Kind.DEVELOP_PHOTO)
    Errand.objects.filter(pk=errand.pk).update(state=ErrandState.FAILED)
    actions.leave_errand(errand.pk, by=builders.lead(), now=now)
    assert Photo.objects.get().state == "unreadable"
    assert Notice.objects.get().state == NoticeState.OWED


def test_a_contact_who_is_removed_is_owed_nothing_more(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.STRAIGHT)
    contact = builders.link(job).contact
    builders.log_done(builders.stage(job), photo=False)
    actions.remove_contact(contact, by=builders.lead(), now=now)
    assert Errand.objects.get(kind=Kind.SEND_LETTER).state == ErrandState.DONE
    run_due(now + timedelta(hours=1))
    assert not Letter.objects.exists()


def test_word_that_the_lead_lets_go_can_be_taken_back_for_ten_minutes(now: datetime, published: list[str]) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    entry = builders.log_done(builders.stage(job), content=builders.jpeg()[:200])
    run_due(now)
    later = now + timedelta(hours=2)
    actions.send_word(entry, by=builders.lead(), now=later)
    assert Notice.objects.get().leaves_at == later + timedelta(minutes=10)


def test_a_letter_whose_hour_was_moved_while_it_was_claimed_goes_at_the_new_hour(
    now: datetime, published: list[str]
) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    builders.log_done(builders.stage(job))
    run_due(now)
    photos = list(Photo.objects.select_related("entry__stage__piece__job", "stage__piece__job"))
    actions.release_photos(photos, by=builders.lead(), now=now)
    due = now + timedelta(minutes=10)
    claimed = errands.claim(Errand.objects.get(kind=Kind.SEND_LETTER).pk, due)
    assert claimed is not None
    actions.look_again(photos, by=builders.lead(), now=due)
    actions.release_photos(photos, by=builders.lead(), now=due)
    errands._free(claimed)
    run_due(due + timedelta(minutes=9))
    assert not Letter.objects.exists()
    run_due(due + timedelta(minutes=10))
    assert Letter.objects.count() == 1


def test_a_letter_that_is_in_the_outbox_is_never_called_still_here(
    now: datetime, published: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job)
    builders.log_done(builders.stage(job), photo=False)
    later = now + timedelta(minutes=11)
    errand = Errand.objects.get(kind=Kind.SEND_LETTER)

    def cut_off(*args: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("studio.workshop.duties.DUTIES", {Kind.SEND_LETTER: duties.Duty(duties.letters.send, cut_off)})
        duties.run(errand.pk, lambda: later)
    with monkeypatch.context() as patch:
        patch.setattr("studio.workshop.outbox.put", cut_off)
        duties.run(errand.pk, lambda: later + timedelta(minutes=1))
    assert Notice.objects.get().state == NoticeState.LEAVING


@pytest.mark.parametrize(
    "sender",
    ["letters@[IPv6:::1]", "letters@127.0.0.1", "letters@yard.example"],
)
def test_a_letter_can_leave_from_any_address(
    now: datetime, published: list[str], settings: object, sender: str
) -> None:
    settings.LETTERS_FROM = sender  # type: ignore[attr-defined]
    job = builders.job(release=Release.STRAIGHT)
    builders.link(job, email="k@bücher.example")
    builders.log_done(builders.stage(job), photo=False)
    run_due(now + timedelta(hours=1))
    from studio.workshop.outbox import path as outbox_path

    mail = outbox_path(Letter.objects.get().pk).read_bytes()
    assert f"<{sender}>".encode() in mail
    assert b"k@xn--bcher-kva.example" in mail
