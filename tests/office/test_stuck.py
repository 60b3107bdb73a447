"""What is stuck, as the lead reads it, and the lead's answer."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from studio.workshop import actions
from studio.workshop.models import (
    Entry,
    Errand,
    ErrandState,
    Job,
    Kind,
    Letter,
    LetterState,
    Needs,
    Person,
    Photo,
    Says,
    Stage,
    Stuck,
)
from tests import builders
from tests.conftest import NOW
from tests.office import rows
from tests.office.rows import Answer, run_due, title

CAN = "Talking watering can, carving"
MINUTE = timedelta(minutes=1)
LIST = "/office/stuck/"


@pytest.fixture
def stuck(ines: Person, published: list[str]) -> Stuck:
    """Said twenty minutes ago, with words."""
    stage = builders.stage(builders.job())
    return builders.say_stuck(stage, sentence="The grey is gone.", now=NOW - 20 * MINUTE).stuck


def text(response: Answer) -> str:
    """As it is read: a colon stands close to the name before it, whatever is around the name."""
    return rows.text(response).replace(" :", ":")


def page_of(stuck: Stuck) -> str:
    return f"/office/stuck/{stuck.pk}/"


def send(office: Browser, stuck: Stuck, answer: str = "") -> Answer:
    return office.post(page_of(stuck), {"answer": answer, "version": ""}, follow=True)


def test_the_page_says_who_what_and_since_when_and_leads_on(office: Browser, stuck: Stuck) -> None:
    builders.say_stuck(stuck.stage, by=builders.person("Bo"), sentence="Two <tins>.", now=NOW - 5 * MINUTE)
    page = office.get(page_of(stuck))
    said = text(page)
    assert (
        f"{CAN} is stuck: it needs material. Ada said at 10:22 that it needs material. Until it can go on, the plan puts it off from day to day."
        in said
    )
    assert "10:22 Ada: “The grey is gone.” 10:37 Bo: “Two <tins>.”" in said
    html = page.content.decode()
    for address in (f"/office/stages/{stuck.stage_id}/", f"/office/jobs/{stuck.stage.piece.job_id}/", LIST):
        assert f'href="{address}"' in html
    assert "What you tell them (may stay empty)" in said
    assert "It can go on" in said


@pytest.mark.parametrize(
    ("needs", "words"),
    [
        (Needs.HAND, "it needs a hand"),
        (Needs.MATERIAL, "it needs material"),
        (Needs.ANSWER, "it needs an answer"),
        (Needs.BROKE, "it broke"),
    ],
)
def test_each_need_has_its_words(office: Browser, needs: Needs, words: str) -> None:
    row = builders.say_stuck(builders.stage(builders.job()), needs).stuck
    assert title(office.get(page_of(row))).startswith(f"{CAN} is stuck: {words}.")
    assert f"{CAN}: {words}. Ada said so." in text(office.get(LIST))


def test_its_photos_stand_there_and_are_for_us_only(office: Browser, stuck: Stuck) -> None:
    builders.say_stuck(stuck.stage, content=builders.jpeg("navy"), now=NOW)
    builders.say_stuck(stuck.stage, content=builders.jpeg("plum")[:200], now=NOW)
    assert "One photo is being developed." in text(office.get(page_of(stuck)))
    run_due()
    page = office.get(page_of(stuck))
    assert page.content.decode().count("<img") == 1
    assert "For us only." in text(page)
    assert "One photo did not come out." in text(page)


def test_it_goes_on_with_words(office: Browser, ines: Person, stuck: Stuck) -> None:
    answer = send(office, stuck, " Use the grey one.\r\n")
    assert f"{CAN} is not stuck any more. Ada reads it at the bench: “Use the grey one.”" in text(answer)
    assert "Nothing is stuck." in text(answer)
    row = Stuck.objects.get()
    assert (row.answer, row.answered_by, row.answered_at) == ("Use the grey one.", ines, NOW)
    assert f"{CAN}: it needs material. Ines answered at 10:42: “Use the grey one.”" in text(answer)


def test_it_goes_on_without_words(office: Browser, stuck: Stuck) -> None:
    answer = send(office, stuck)
    assert f"{CAN} is not stuck any more. Ines said at 10:42 that it goes on." in text(answer)
    assert not Stuck.objects.standing().exists()


def test_the_same_answer_twice_is_one(office: Browser, stuck: Stuck) -> None:
    for _ in range(2):
        assert "is not stuck any more." in text(send(office, stuck, "Use the grey one."))
    assert Stuck.objects.get().answer == "Use the grey one."


def test_words_that_come_after_somebody_else_s_are_not_lost(office: Browser, stuck: Stuck) -> None:
    actions.answer_stuck(stuck, by=builders.person("Ada"), now=NOW - 2 * MINUTE)
    answer = office.post(page_of(stuck), {"answer": "Use the grey one."})
    assert answer.status_code == 409
    said = text(answer)
    assert title(answer).startswith(f"Error: {CAN} was stuck")
    assert "Ada said at 10:22 that it needs material. Ada carried on at 10:40." in said
    assert "Somebody was first, as it says above, so this was not passed on: “Use the grey one.”" in said
    assert "Tell Ada yourself" in said
    assert Stuck.objects.get().answer == ""
    assert "Ada carried on at 10:40." in text(send(office, stuck))  # without words there is nothing to lose


def test_too_long_an_answer_comes_back_whole(office: Browser, stuck: Stuck) -> None:
    long = "So long. " * 40
    answer = office.post(page_of(stuck), {"answer": long})
    assert answer.status_code == 422
    assert long.strip() in text(answer)
    assert title(answer).startswith("Error:")
    assert Stuck.objects.standing().exists()


def test_answered_already_it_says_so_and_by_whom(office: Browser, stuck: Stuck) -> None:
    actions.answer_stuck(stuck, answer="Use the grey one.", by=builders.lead("Mira"), now=NOW - MINUTE)
    page = text(office.get(page_of(stuck)))
    assert (
        f"{CAN} was stuck. Ada said at 10:22 that it needs material. Mira answered at 10:41: “Use the grey one.”"
        in page
    )
    assert "It can go on" not in page


def test_taken_back_it_says_so(office: Browser, stuck: Stuck) -> None:
    actions.take_back(stuck.entry, by=stuck.entry.by, now=NOW - MINUTE)
    page = text(office.get(page_of(stuck)))
    assert f"{CAN} was stuck. Ada said at 10:22 that it needs material. Ada took it back at 10:41." in page
    assert "10:22 Ada" in page
    assert CAN not in text(office.get(LIST))


def test_done_by_another_it_is_finished(office: Browser, stuck: Stuck) -> None:
    builders.log_done(stuck.stage, by=builders.person("Bo"), now=NOW - MINUTE)
    assert "Bo finished it at 10:41." in text(office.get(page_of(stuck)))


def test_in_a_closed_job_it_waits_for_nobody(office: Browser, stuck: Stuck) -> None:
    Job.objects.update(closed_on=NOW.date())
    page = text(office.get(page_of(stuck)))
    assert "Its job is closed, so it waits for nobody." in page
    assert "It can go on" not in page
    assert office.post(page_of(stuck), {"answer": "Use the grey one."}).status_code == 409
    assert Stuck.objects.get().answered_at is None


def test_what_is_not_there_is_not_there(office: Browser, ines: Person) -> None:
    assert office.get("/office/stuck/4711/").status_code == 404
    assert office.post("/office/stuck/4711/", {"answer": ""}).status_code == 404


def test_a_maker_has_no_business_there(stuck: Stuck) -> None:
    browser = Browser()
    browser.force_login(builders.person("Ada"))
    assert browser.get(page_of(stuck)).status_code == 403
    assert browser.post(page_of(stuck), {"answer": "x"}).status_code == 403
    assert browser.get(LIST).status_code == 403


# the list


def test_the_list_has_the_oldest_first_and_then_what_goes_on(office: Browser, stuck: Stuck) -> None:
    job = builders.job("Ammonite", client="Harbour Museum")
    builders.say_stuck(builders.stage(job), Needs.HAND, now=NOW - 50 * MINUTE)
    past = builders.say_stuck(builders.stage(job, "mould"), Needs.BROKE, now=NOW - 40 * MINUTE).stuck
    actions.answer_stuck(past, by=builders.person("Ada"), now=NOW - 30 * MINUTE)
    said = text(office.get(LIST))
    assert "Two stages are stuck." in said
    places = [said.index(part) for part in ("09:52 Ammonite, carving: it needs a hand.", f"10:22 {CAN}", "10:12 Ammonite, mould: it broke. Ada carried on at 10:12.")]  # fmt: skip
    assert places == sorted(places)


def test_an_empty_list_says_what_comes_there(office: Browser, ines: Person) -> None:
    said = text(office.get(LIST))
    assert "Nothing is stuck." in said
    assert "Makers say so at the bench" in said


def many(count: int, answered: int) -> None:
    """So many stand and so many were answered, each a minute after the one before."""
    job, by = builders.job(stages=("carving",)), builders.person("Ada")
    kind = builders.stage(job).kind
    piece = builders.piece(job)
    stages = Stage.objects.bulk_create(
        Stage(piece=piece, kind=kind, title=f"part {n}") for n in range(count + answered)
    )
    entries = Entry.objects.bulk_create(
        Entry(id=uuid4(), stage=stage, says=Says.STUCK, by=by, at=NOW + n * MINUTE, for_client=False)
        for n, stage in enumerate(stages)
    )
    Stuck.objects.bulk_create(
        Stuck(
            entry=entry,
            stage=entry.stage,
            needs=Needs.HAND,
            at=entry.at,
            answered_at=entry.at if n >= count else None,
            answered_by=by if n >= count else None,
        )
        for n, entry in enumerate(entries)
    )


def test_fifty_cost_as_many_queries_as_one(
    office: Browser, ines: Person, django_assert_num_queries: Callable[[int], AbstractContextManager[object]]
) -> None:
    many(1, 1)
    with CaptureQueriesContext(connection) as for_one:
        office.get(LIST)
    many(49, 49)
    with django_assert_num_queries(len(for_one)):
        page = office.get(LIST)
    assert page.content.decode().count('<a href="/office/stuck/') == 100


def test_it_goes_on_from_page_to_page(office: Browser, ines: Person) -> None:
    many(60, 60)
    page = office.get(LIST)
    assert text(page).startswith("60 stages are stuck.")
    for field, first, last in (("after", "part 0:", "part 59:"), ("past", "part 119:", "part 60:")):
        part = page.content.decode().partition(f'href="?{field}=')[2].partition('"')[0]
        assert part, field
        said = text(office.get(f"{LIST}?{field}={part}"))
        assert first in text(page)
        assert last in said
        assert last not in text(page)
    assert office.get(f"{LIST}?after=x~y&past=%00~1").status_code == 200


# letters to leads


def told(stuck: Stuck) -> Letter:
    builders.work(NOW + MINUTE)
    return Letter.objects.get(stuck=stuck)


def test_letters_to_leads_stand_with_the_others(office: Browser, stuck: Stuck) -> None:
    builders.link(stuck.stage.piece.job)
    letter = told(stuck)
    builders.log_done(builders.stage(stuck.stage.piece.job, "mould"), photo=False)
    builders.work(NOW + timedelta(hours=1))
    with time_machine.travel(NOW + timedelta(hours=2), tick=False):
        said = text(office.get("/office/letters/"))
        page = office.get(f"/office/letters/{letter.pk}/")
        inside = office.get(f"/office/letters/{letter.pk}/html/")
    assert f"Ines was told at 10:43: {CAN} is stuck." in said
    assert "Priya was told at 11:42: mould of Talking watering can is done." in said
    assert f"Ines was told at 10:43: {CAN} is stuck." in text(page)
    assert "Ines, ines@bodkinyard.example" in text(page)
    assert f'href="{page_of(stuck)}"' in page.content.decode()
    assert "“The grey is gone.”" in text(inside)


def test_one_of_which_nobody_knows_whether_it_left(office: Browser, stuck: Stuck) -> None:
    told(stuck)
    Letter.objects.update(state=LetterState.UNKNOWN)
    assert f"Nobody knows whether Ines was told at 10:43: {CAN} is stuck." in text(office.get("/office/letters/"))


def test_many_letters_to_leads_cost_no_more(
    office: Browser, stuck: Stuck, django_assert_num_queries: Callable[[int], AbstractContextManager[object]]
) -> None:
    told(stuck)
    with CaptureQueriesContext(connection) as for_one:
        office.get("/office/letters/")
    job, lead = stuck.stage.piece.job, builders.lead()
    Letter.objects.bulk_create(
        Letter(pk=uuid4(), stuck=stuck, person=lead, job=job, sent_at=NOW + n * MINUTE) for n in range(49)
    )
    with django_assert_num_queries(len(for_one)):
        page = text(office.get("/office/letters/"))
    assert page.count("Ines was told") >= 50


# what waits or failed


@pytest.fixture
def desk(office: Browser) -> Callable[[], str]:
    return lambda: text(office.get("/office/waiting/"))


def test_a_letter_to_a_lead_that_waits_is_counted_with_the_others(desk: Callable[[], str], stuck: Stuck) -> None:
    with time_machine.travel(NOW - 20 * MINUTE, tick=False):
        assert "One letter waits; it leaves at 10:22." in desk()
    assert "One letter waits; the first should have left at 10:22." in desk()


def test_one_that_failed_names_lead_and_stage_and_is_tried_again(
    office: Browser, desk: Callable[[], str], stuck: Stuck
) -> None:
    errand = Errand.objects.filter(kind=Kind.TELL_LEAD)
    errand.update(state=ErrandState.FAILED, error="The disk said: Read-only.")
    assert f"A letter to Ines about {CAN}, stuck could not be sent: The disk said: Read-only. To the job" in desk()
    errand.update(state=ErrandState.WAITING, strikes=1, due_at=NOW + MINUTE)
    assert f"A letter to Ines about {CAN}, stuck will be tried again at 10:43." in desk()
    errand.update(state=ErrandState.FAILED)
    answer = office.post(f"/office/errands/{errand.get().pk}/leave/", follow=True)
    assert "It is put away, and not tried again." in text(answer)
    assert Stuck.objects.standing().exists()


def test_a_plan_that_could_not_be_drawn_is_said(desk: Callable[[], str], stuck: Stuck) -> None:
    plan = Errand.objects.filter(kind=Kind.REFRESH_PLAN)
    assert "The plan has waited since 10:22 to be drawn anew." in desk()
    plan.update(due_at=NOW)
    assert "The plan" not in desk()
    plan.update(state=ErrandState.FAILED, error="It took too long.")
    assert "The plan could not be drawn anew: It took too long." in desk()
    plan.update(state=ErrandState.WAITING, strikes=2, due_at=NOW + MINUTE)
    assert "The plan will be tried again at 10:43. It took too long." in desk()


def test_a_stuck_photo_is_not_waiting_for_the_lead(office: Browser, stuck: Stuck) -> None:
    builders.say_stuck(stuck.stage, photo=True)
    run_due()
    assert not Photo.objects.to_look_at().exists()
    assert "No photos wait" in text(office.get("/office/photos/"))
