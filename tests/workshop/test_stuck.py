"""Stuck: said once, told to each lead once, answered once, and never a word or a picture of it to a client."""

from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.conf import settings
from django.test import Client

from studio.workshop import actions, duties, errands, letters, outbox
from studio.workshop.links import path_for
from studio.workshop.models import (
    Entry,
    Errand,
    ErrandState,
    History,
    Job,
    Kind,
    Letter,
    Link,
    Needs,
    Person,
    Photo,
    Release,
    Role,
    Says,
    Stage,
    Stuck,
)
from tests import builders
from tests.clientportal.looking import look
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def stage(published: list[str]) -> Stage:
    return builders.stage(builders.job())


def standing() -> list[Stuck]:
    return list(Stuck.objects.standing())


def to_tell(*states: ErrandState) -> list[str]:
    """The leads who have a letter coming."""
    wanted = states or (ErrandState.WAITING,)
    subjects = Errand.objects.filter(kind=Kind.TELL_LEAD, state__in=wanted).values_list("subject", flat=True)
    return sorted(Person.objects.get(pk=subject.partition("-")[2]).name for subject in subjects)


def lying() -> list[str]:
    return sorted(path.name for path in settings.OUTBOX.iterdir())


def verbs() -> list[str]:
    return list(
        History.objects.filter(subject__startswith="stage ").order_by("at", "id").values_list("verb", flat=True)
    )


def test_it_holds_the_stage_and_is_for_us_only(stage: Stage) -> None:
    entry = builders.say_stuck(stage, Needs.BROKE, sentence="The lip cracked.", photo=True)
    (stuck,) = standing()
    assert (stuck.entry, stuck.stage, stuck.needs, stuck.at) == (entry, stage, Needs.BROKE, NOW)
    assert (entry.says, entry.sentence, entry.for_client, entry.released_at) == (
        Says.STUCK,
        "The lip cracked.",
        False,
        None,
    )
    assert not entry.photos.get().for_client
    assert Errand.objects.filter(kind=Kind.DEVELOP_PHOTO, state=ErrandState.WAITING).count() == 1
    assert Errand.objects.filter(kind=Kind.REFRESH_PLAN, state=ErrandState.WAITING).count() == 1
    assert builders.stage(stage.piece.job).done_at is None


def test_each_other_lead_who_is_here_and_has_an_address_gets_a_letter(stage: Stage) -> None:
    for name in ("Mira", "Tom", "Uli"):
        builders.lead(name)
    Person.objects.filter(name="Tom").update(is_active=False)
    Person.objects.filter(name="Uli").update(email="")
    builders.person("Bo")
    builders.say_stuck(stage, by=builders.lead("Mira"))
    assert to_tell() == ["Ines"]


def test_the_same_form_sent_three_times_is_said_once(stage: Stage) -> None:
    entry_id = uuid4()
    answers = [builders.say_stuck(stage, entry_id=entry_id, photo=True, now=NOW + n * MINUTE) for n in range(3)]
    assert {answer.pk for answer in answers} == {entry_id}
    assert (Entry.objects.count(), Photo.objects.count(), Stuck.objects.count()) == (1, 1, 1)
    assert to_tell() == ["Ines"]
    assert verbs().count("said stuck") == 1


def test_sent_again_after_the_job_was_closed_it_is_still_the_first_answer(stage: Stage) -> None:
    entry = builders.say_stuck(stage)
    Job.objects.update(closed_on=NOW.date())
    again = builders.stage(stage.piece.job)
    assert builders.say_stuck(again, entry_id=entry.pk) == entry


def test_a_page_that_came_back_with_its_old_id_loses_no_photo(stage: Stage) -> None:
    entry_id = uuid4()
    builders.say_stuck(stage, entry_id=entry_id, content=builders.jpeg("tan"))
    for _ in range(2):
        builders.say_stuck(stage, entry_id=entry_id, content=builders.jpeg("navy"), now=NOW + MINUTE)
    assert (Entry.objects.count(), Photo.objects.count(), Stuck.objects.count()) == (2, 2, 1)


def test_a_form_of_another_stage_or_person_is_refused(stage: Stage) -> None:
    entry = builders.say_stuck(stage)
    with pytest.raises(actions.Refused, match="used for something else"):
        builders.say_stuck(builders.stage(stage.piece.job, "mould"), entry_id=entry.pk)
    with pytest.raises(actions.Refused, match="used for something else"):
        builders.say_stuck(stage, entry_id=entry.pk, by=builders.person("Bo"))
    assert len(standing()) == 1


def test_a_second_word_is_added_and_tells_nobody_anew(stage: Stage) -> None:
    builders.say_stuck(stage, Needs.MATERIAL)
    builders.work()
    bo = builders.person("Bo")
    second = builders.say_stuck(stage, Needs.MATERIAL, by=bo, sentence="Two tins.", photo=True, now=NOW + MINUTE)
    assert (second.says, second.for_client, second.photos.count()) == (Says.STUCK, False, 1)
    assert [stuck.needs for stuck in standing()] == [Needs.MATERIAL]
    assert Errand.objects.filter(kind=Kind.TELL_LEAD).count() == 1
    assert verbs()[-2:] == ["said stuck", "added to what is stuck"]


@pytest.mark.parametrize(("sentence", "kept"), [("", "Something broke."), ("Look at the lip.", "Look at the lip.")])
def test_a_second_need_is_not_lost(stage: Stage, sentence: str, kept: str) -> None:
    builders.say_stuck(stage, Needs.MATERIAL)
    second = builders.say_stuck(stage, Needs.BROKE, by=builders.person("Bo"), sentence=sentence, now=NOW + MINUTE)
    assert second.sentence == kept


def test_what_is_done_or_closed_is_not_stuck(stage: Stage) -> None:
    job = stage.piece.job
    builders.log_done(stage)
    with pytest.raises(actions.Refused, match="This stage is done"):
        builders.say_stuck(stage)
    Job.objects.update(closed_on=NOW.date())
    with pytest.raises(actions.Refused, match="This job is closed"):
        builders.say_stuck(builders.stage(job, "mould"))
    assert not standing()
    assert not to_tell()


def test_an_answer_lets_it_go_on_and_the_first_one_stays(stage: Stage) -> None:
    stuck = builders.say_stuck(stage).stuck
    actions.answer_stuck(stuck, answer="Use the grey one.", by=builders.lead(), now=NOW + MINUTE)
    actions.answer_stuck(stuck, answer="No, wait.", by=builders.lead("Mira"), now=NOW + 2 * MINUTE)
    actions.answer_stuck(stuck, by=builders.person("Ada"), now=NOW + 2 * MINUTE)
    told = Stuck.objects.get()
    assert (told.answer, told.answered_by, told.answered_at) == ("Use the grey one.", builders.lead(), NOW + MINUTE)
    assert not standing()
    assert verbs()[-2:] == ["said stuck", "answered stuck"]


def test_carrying_on_needs_no_words(stage: Stage) -> None:
    actions.answer_stuck(builders.say_stuck(stage).stuck, by=builders.person("Ada"), now=NOW + MINUTE)
    assert Stuck.objects.get().answer == ""
    assert not standing()
    assert verbs()[-1] == "carried on"


def test_an_answer_to_what_went_on_does_not_answer_what_came_after(stage: Stage) -> None:
    first = builders.say_stuck(stage).stuck
    actions.answer_stuck(first, by=builders.person("Ada"), now=NOW + MINUTE)
    second = builders.say_stuck(stage, Needs.BROKE, now=NOW + 2 * MINUTE).stuck
    actions.answer_stuck(first, answer="Use the grey one.", by=builders.lead(), now=NOW + 3 * MINUTE)
    assert standing() == [second]
    assert not Stuck.objects.exclude(answer="").exists()


def answered(entry: Entry) -> None:
    actions.answer_stuck(entry.stuck, by=builders.lead(), now=NOW + MINUTE)


def taken_back(entry: Entry) -> None:
    actions.take_back(entry, by=entry.by, now=NOW + MINUTE)


def done(entry: Entry) -> None:
    builders.log_done(entry.stage, photo=False, now=NOW + MINUTE)


def finished_for_them(entry: Entry) -> None:
    actions.finish_for(entry.stage, whose=entry.by, done_at=NOW, entry_id=uuid4(), by=builders.lead(), now=NOW + MINUTE)


ENDS = [answered, taken_back, done, finished_for_them]


@pytest.mark.parametrize("state", [ErrandState.WAITING, ErrandState.FAILED])
@pytest.mark.parametrize("end", ENDS)
def test_whatever_ends_it_keeps_a_letter_here_that_has_not_left(stage: Stage, end: object, state: ErrandState) -> None:
    entry = builders.say_stuck(stage)
    Errand.objects.filter(kind=Kind.TELL_LEAD).update(state=state)
    end(entry)  # type: ignore[operator]
    assert not standing()
    assert to_tell(ErrandState.DONE) == ["Ines"]
    builders.work(NOW + MINUTE)
    assert not Letter.objects.filter(stuck__isnull=False).exists()
    assert not lying()


@pytest.mark.parametrize("end", ENDS)
def test_a_letter_that_a_worker_has_already_begun_is_not_written_once_it_ended(stage: Stage, end: object) -> None:
    entry = builders.say_stuck(stage)
    errand = errands.claim(Errand.objects.get(kind=Kind.TELL_LEAD).pk, NOW)
    assert errand
    end(entry)  # type: ignore[operator]
    assert duties.DUTIES[Kind.TELL_LEAD].work(errand, NOW + MINUTE) is None
    assert not lying()


def test_a_done_that_is_taken_back_does_not_make_it_stuck_again(stage: Stage) -> None:
    builders.say_stuck(stage)
    entry = builders.log_done(stage, now=NOW + MINUTE)
    actions.take_back(entry, by=entry.by, now=NOW + 2 * MINUTE)
    assert not standing()


def test_who_takes_an_added_word_back_leaves_the_first_standing(stage: Stage) -> None:
    first = builders.say_stuck(stage)
    bo = builders.person("Bo")
    second = builders.say_stuck(stage, by=bo, sentence="Me too.", now=NOW + MINUTE)
    actions.take_back(second, by=bo, now=NOW + 2 * MINUTE)
    assert standing() == [first.stuck]


def test_in_a_closed_job_nothing_is_stuck_and_no_letter_leaves(stage: Stage) -> None:
    stuck = builders.say_stuck(stage).stuck
    Job.objects.update(closed_on=NOW.date())
    builders.work()
    assert not standing()
    assert not lying()
    Job.objects.update(closed_on=None)
    assert standing() == [stuck]


def test_the_letter_is_written_and_is_on_record(stage: Stage) -> None:
    stuck = builders.say_stuck(stage, sentence="Is the grey one right?").stuck
    builders.work(NOW + MINUTE)
    letter = Letter.objects.get()
    assert (letter.stuck, letter.person, letter.job, letter.sent_at) == (
        stuck,
        builders.lead(),
        stage.piece.job,
        NOW + MINUTE,
    )
    assert (letter.notice, letter.contact) == (None, None)
    read = letters.read_outbox(letter.pk)
    assert (read.to_name, read.to_address) == ("Ines", "ines@bodkinyard.example")
    assert f"/office/stuck/{stuck.pk}/" in read.text
    assert "“Is the grey one right?”" in read.text


def crash_after_writing() -> Errand:
    """The file lies in the outbox, and the process is gone before any row says so."""
    errand = errands.claim(Errand.objects.get(kind=Kind.TELL_LEAD).pk, NOW)
    assert errand
    duties.DUTIES[Kind.TELL_LEAD].work(errand, NOW)
    assert errands.free_dead(NOW + timedelta(hours=1)) == 1
    return errand


def test_after_a_crash_it_is_the_same_letter(stage: Stage) -> None:
    builders.say_stuck(stage)
    errand = crash_after_writing()
    before = outbox.path(errand.pk).read_bytes()
    builders.work(NOW + timedelta(hours=1))
    builders.work(NOW + timedelta(hours=2))
    assert Letter.objects.get().pk == errand.pk
    assert lying() == [f"{errand.pk}.eml"]
    assert outbox.path(errand.pk).read_bytes() == before


def test_a_letter_that_left_before_a_crash_is_on_record_though_it_was_answered_since(stage: Stage) -> None:
    entry = builders.say_stuck(stage)
    errand = crash_after_writing()
    Errand.objects.filter(pk=errand.pk).update(state=ErrandState.RUNNING)  # so that answering cannot drop it
    answered(entry)
    Errand.objects.filter(pk=errand.pk).update(state=ErrandState.WAITING)
    builders.work(NOW + timedelta(hours=1))
    assert Letter.objects.get().pk == errand.pk


def test_an_address_that_cannot_be_used_is_shown_to_a_lead_at_once(stage: Stage) -> None:
    Person.objects.filter(role=Role.LEAD).update(email="ines at the yard")
    builders.say_stuck(stage)
    builders.work()
    errand = Errand.objects.get(kind=Kind.TELL_LEAD)
    assert (errand.state, errand.error) == (
        ErrandState.FAILED,
        "The e-mail address of Ines cannot be used. Correct it.",
    )


def test_its_photos_are_not_for_showing(stage: Stage) -> None:
    builders.say_stuck(stage, photo=True)
    builders.work()
    photo = Photo.objects.select_related("entry", "stage__piece__job").get()
    with pytest.raises(actions.Refused, match="stays with us"):
        actions.release_photos([photo], by=builders.lead(), now=NOW)
    Photo.objects.update(for_client=True, released_at=NOW)  # even where somebody wrote it into the row
    assert not Photo.objects.shown().exists()


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
@pytest.mark.parametrize("release", Release)
@pytest.mark.parametrize("kind", ["mould", "lay-up"])
def test_a_clients_page_is_the_same_before_and_after(published: list[str], release: Release, kind: str) -> None:
    job = builders.job(release=release)
    link = builders.link(job)
    builders.log_done(builders.stage(job), now=NOW - timedelta(days=1))
    builders.work()
    before = look(link)
    stage, ada, bo = builders.stage(job, kind), builders.person("Ada"), builders.person("Bo")
    told: list[str] = []

    def same(when: str) -> None:
        builders.work(NOW + timedelta(hours=1))
        assert look(link) == before, when
        told.append(when)

    first = builders.say_stuck(stage, sentence="The grey is gone.", content=builders.jpeg("navy"))
    same("said")
    builders.say_stuck(
        stage, Needs.BROKE, by=bo, sentence="And it broke.", content=builders.jpeg("plum"), now=NOW + MINUTE
    )
    same("said by a second")
    actions.answer_stuck(first.stuck, answer="Use the white.", by=builders.lead(), now=NOW + 2 * MINUTE)
    same("answered")
    again = builders.say_stuck(stage, content=builders.jpeg("olive"), now=NOW + 3 * MINUTE)
    same("said again")
    actions.take_back(again, by=ada, now=NOW + 4 * MINUTE)
    same("taken back")
    assert len(told) == 5
    for photo in Photo.objects.filter(entry__says=Says.STUCK).prefetch_related("renditions"):
        for rendition in photo.renditions.all():
            assert photo_is_not_given(link, rendition.sha256)


def photo_is_not_given(link: Link, sha256: str) -> bool:
    with time_machine.travel(NOW, tick=False):
        return Client().get(f"{path_for(link)}{sha256}.jpg").status_code == 404


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
def test_once_done_its_words_are_not_those_of_the_stuck(published: list[str]) -> None:
    job = builders.job()
    link = builders.link(job)
    stage = builders.stage(job)
    builders.say_stuck(stage, sentence="The grey is gone.", photo=True)
    builders.log_done(stage, content=builders.jpeg("navy"), sentence="Six blocks.", now=NOW + MINUTE)
    builders.work(NOW + timedelta(hours=1))
    page = look(link)
    assert "Six blocks." in page
    assert "grey" not in page
    assert "stuck" not in page.lower()
    letter = letters.read_outbox(Letter.objects.get(contact__isnull=False).pk)
    assert "grey" not in letter.text + letter.html


def test_who_takes_the_first_word_back_leaves_what_others_said(stage: Stage) -> None:
    first = builders.say_stuck(stage, Needs.MATERIAL)
    second = builders.say_stuck(stage, Needs.BROKE, by=builders.person("Bo"), sentence="The beak fell off.")
    actions.take_back(first, by=builders.person("Ada"), now=NOW)
    standing = Stuck.objects.standing().get()
    assert (standing.entry, standing.stage) == (second, stage)
    actions.take_back(second, by=builders.person("Bo"), now=NOW)
    assert not Stuck.objects.standing().exists()
