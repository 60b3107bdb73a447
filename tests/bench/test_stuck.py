"""Stuck, at the bench: said in one tap, seen by whoever comes next, and carried on."""

import errno
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date, timedelta
from html import unescape
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from studio.workshop import actions, storage
from studio.workshop.models import (
    Entry,
    Errand,
    ErrandState,
    Job,
    Kind,
    Needs,
    Photo,
    Release,
    Role,
    Says,
    Stage,
    Stuck,
)
from tests import builders
from tests.bench.conftest import film, page_of, photo, run_due
from tests.bench.test_lists import labels, logged, many, pages
from tests.conftest import NOW

CAN = "Talking watering can, carving"
Count = Callable[[int], AbstractContextManager[object]]


def form_of(stage: Stage) -> str:
    return reverse("bench-stuck", args=[stage.pk])


def kept_page(entry: Entry) -> str:
    return reverse("bench-kept", args=[entry.pk])


def say(who: Client, stage: Stage, *files: SimpleUploadedFile, entry: UUID | None = None, **said: str) -> Any:
    """What a browser posts: material, unless told otherwise. Returns the test client's response."""
    data = {"entry": str(entry or uuid4()), "needs": "material", **said, "photos": list(files)}
    return who.post(form_of(stage), data)


def carry_on(who: Client, stage: Stage, stuck: object) -> Any:
    return who.post(reverse("bench-carry-on", args=[stage.pk]), {"stuck": str(stuck)}, follow=True)


def text(response: Any) -> str:
    """What a person reads."""
    body = response.content.decode().partition('<main id="main" tabindex="-1">')[2]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


@pytest.fixture
def stage(ada: Client) -> Stage:
    return builders.stage(builders.job())


def answer(stuck: Stuck, words: str = "Use the grey one.", minutes: int = 23) -> None:
    actions.answer_stuck(stuck, answer=words, by=builders.lead(), now=NOW + timedelta(minutes=minutes))


# saying it


def test_a_link_stands_beside_done_and_leads_to_the_four_choices(ada: Client, stage: Stage) -> None:
    for page in (ada.get(reverse("bench")), ada.get(page_of(stage))):
        assert f'<a class="btn glove" href="{form_of(stage)}">Stuck</a>' in page.content.decode()
    page = ada.get(form_of(stage))
    html = page.content.decode()
    assert re.findall(r'name="needs" value="(\w+)">([^<]+)<', html) == [
        ("hand", "A hand"),
        ("material", "Material"),
        ("answer", "An answer"),
        ("broke", "It broke"),
    ]
    # one tap sends, so what may go with it comes before
    assert html.index('name="photos"') < html.index('name="sentence"') < html.index('name="needs"')
    assert "required" not in html
    assert page.context["entry_id"] != ada.get(form_of(stage)).context["entry_id"]


@pytest.mark.parametrize(
    ("needs", "words"),
    [
        ("hand", "it needs a hand"),
        ("material", "it needs material"),
        ("answer", "it needs an answer"),
        ("broke", "it broke"),
    ],
)
def test_one_tap_says_it_and_says_who_gets_a_letter(ada: Client, stage: Stage, needs: str, words: str) -> None:
    builders.lead()
    response = say(ada, stage, needs=needs)
    entry = Entry.objects.get()
    assert (response.status_code, response.headers["Location"]) == (303, kept_page(entry))
    assert (entry.says, entry.stuck.needs, entry.sentence) == (Says.STUCK, needs, "")
    page = ada.get(kept_page(entry))
    assert f"Kept. {CAN} is stuck: {words}, 10:42. Ines gets a letter." in text(page)
    assert f"<title>Kept: {CAN}" in page.content.decode()
    assert "Take it back" in text(page)
    assert "Carry on" in text(page)
    run_due(NOW)
    assert f"{words}, 10:42. Ines had a letter at 10:42." in text(ada.get(kept_page(entry)))


def test_a_photo_and_a_sentence_go_with_it_and_are_for_us_only(ada: Client, stage: Stage) -> None:
    response = say(ada, stage, photo(), photo("navy"), sentence="The grey\r\nis gone.", needs="answer")
    entry = Entry.objects.get()
    assert (entry.sentence, entry.for_client, entry.photos.count()) == ("The grey is gone.", False, 2)
    run_due(NOW)
    page = text(ada.get(response.headers["Location"]))
    assert "2 photos are developed. They are for us only." in page
    assert "The lead looks at it" not in page


def test_the_form_sent_twice_is_one(ada: Client, stage: Stage) -> None:
    entry = uuid4()
    assert {say(ada, stage, photo(), entry=entry).headers["Location"] for _ in range(2)} == {
        reverse("bench-kept", args=[entry])
    }
    assert (Entry.objects.count(), Stuck.objects.count(), Photo.objects.count()) == (1, 1, 1)


def test_two_leads_are_both_named_and_the_one_whose_letter_is_held_up(ada: Client, stage: Stage) -> None:
    builders.lead()
    mira = builders.lead("Mira")
    say(ada, stage)
    entry = Entry.objects.get()
    assert "Ines and Mira get a letter." in text(ada.get(kept_page(entry)))
    Errand.objects.filter(kind=Kind.TELL_LEAD, subject__endswith=f"-{mira.pk}").update(state=ErrandState.FAILED)
    page = text(ada.get(kept_page(entry)))
    assert "Ines gets a letter. The letter to Mira is held up. The office says why." in page


def test_where_nobody_is_written_to_that_is_said(client: Client, published: list[str], db: None, clock: object) -> None:
    client.force_login(builders.lead())
    stage = builders.stage(builders.job())
    say(client, stage)
    assert "It stands first in the office. No letter goes." in text(client.get(kept_page(Entry.objects.get())))


@pytest.mark.parametrize("wrong", [{"entry": "1"}, {"needs": "tea"}, {"needs": ""}, {"sentence": "a\0b"}])
def test_what_did_not_arrive_whole_comes_back_with_its_words(ada: Client, stage: Stage, wrong: dict[str, str]) -> None:
    data = {"entry": str(uuid4()), "needs": "hand", "sentence": "Clean."} | wrong
    response = ada.post(form_of(stage), data)
    page = response.content.decode()
    assert response.status_code == 422
    assert "That did not arrive whole, so nothing was kept. Send it again." in page
    assert f"{data['sentence'].replace(chr(0), '')}</textarea>" in page
    assert "<title>Error:" in page
    assert not Entry.objects.exists()


def test_too_long_a_sentence_comes_back_whole(ada: Client, stage: Stage) -> None:
    long = "So long. " * 40
    response = say(ada, stage, sentence=long)
    assert response.status_code == 422
    assert "Say it in at most 300 letters, then send it again." in response.content.decode()
    assert long.strip() in response.content.decode()


def test_a_film_does_not_stop_it(ada: Client, stage: Stage) -> None:
    response = ada.get(say(ada, stage, film()).headers["Location"])
    assert "That it is stuck is kept. That is a film, not a photo. Take a photo and send it." in text(response)
    assert Stuck.objects.standing().count() == 1


def test_a_full_disk_says_that_it_works_without_a_photo(
    ada: Client, stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(arrived: Path) -> str:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(storage, "keep_original", full)
    response = say(ada, stage, photo(), sentence="Look.")
    assert response.status_code == 507
    assert "There is no room left for photos, so nothing was kept. Say it without a photo" in text(response)
    assert "Look.</textarea>" in response.content.decode()
    assert not Stuck.objects.exists()


def test_a_stage_that_is_done_or_closed_cannot_be_stuck(ada: Client, stage: Stage) -> None:
    builders.log_done(stage)
    response = say(ada, stage, sentence="Still wet.")
    assert response.status_code == 422
    assert "This stage is done, so it cannot be stuck. Take it back first." in text(response)
    assert "Still wet.</textarea>" in response.content.decode()
    Job.objects.update(closed_on=NOW.date())
    response = say(ada, builders.stage(stage.piece.job, "mould"))
    assert "This job is closed, so nothing is stuck. Ask the lead." in text(response)
    for kind in ("carving", "mould"):
        assert ">Stuck</a>" not in ada.get(page_of(builders.stage(stage.piece.job, kind))).content.decode()


@pytest.mark.parametrize("role", list(Role))
def test_whoever_works_here_may_say_it_and_carry_on(client: Client, published: list[str], db: None, role: Role) -> None:
    client.force_login(builders.person("Kit", role))
    stage = builders.stage(builders.job(maker=builders.person("Bo")))
    assert say(client, stage).status_code == 303
    assert "goes on." in text(carry_on(client, stage, Stuck.objects.get().pk))
    assert not Stuck.objects.standing().exists()


def test_sent_while_signed_out_leads_back_to_its_page(client: Client, published: list[str], db: None) -> None:
    stage = builders.stage(builders.job())
    response = say(client, stage)
    assert response.headers["Location"] == f"{reverse('sign-in')}?next=%2Fbench%2F{stage.pk}%2Fstuck%2F"
    assert "You were signed out, so nothing was kept." in client.get(response.headers["Location"]).content.decode()
    stuck = builders.say_stuck(stage).stuck
    response = client.post(reverse("bench-carry-on", args=[stage.pk]), {"stuck": stuck.pk})
    assert response.headers["Location"] == f"{reverse('sign-in')}?next=%2Fbench%2F{stage.pk}%2F"
    assert Stuck.objects.standing().count() == 1


def test_done_s_own_form_does_not_take_it(ada: Client, stage: Stage) -> None:
    response = ada.post(page_of(stage), {"entry": str(uuid4()), "says": "stuck"})
    assert response.status_code == 422
    assert not Entry.objects.exists()


# while it stands


def test_the_stage_says_what_who_and_since_when_and_the_rest_stays_possible(ada: Client, stage: Stage) -> None:
    builders.say_stuck(stage, by=builders.person("Bo"), now=NOW - timedelta(hours=19))
    page = ada.get(page_of(stage))
    assert "Stuck since yesterday 15:42: it needs material. Bo said so. Carry on" in text(page)
    html = page.content.decode()
    assert '<button class="btn glove go" form="carry-on">Carry on</button>' in html
    assert "Photo only" in html
    assert "Done. Take the photo" in html
    assert "Done, no photo" in html
    assert ">Stuck</a>" not in html
    assert html.count('id="carry-on"') == 1


def test_the_words_of_all_who_said_so_stand_there(ada: Client, stage: Stage) -> None:
    builders.say_stuck(stage, sentence="The <grey> is gone.", now=NOW - timedelta(minutes=20))
    builders.say_stuck(stage, by=builders.person("Bo"), sentence="Two tins.", now=NOW)
    page = text(ada.get(page_of(stage)))
    assert "it needs material. Ada, 10:22: “The <grey> is gone.” Bo, 10:42: “Two tins.”" in page


def test_who_comes_second_adds_to_it_with_one_button(ada: Client, stage: Stage) -> None:
    builders.say_stuck(stage, Needs.HAND, by=builders.person("Bo"), now=NOW - timedelta(minutes=2))
    page = ada.get(form_of(stage))
    assert "Stuck since 10:40: it needs a hand. Bo said so. What you add goes with it." in text(page)
    assert re.findall(r'name="needs" value="(\w+)">([^<]+)<', page.content.decode()) == [("hand", "Add it")]
    response = ada.get(say(ada, stage, needs="hand", sentence="Me too.").headers["Location"])
    assert f"Kept. {CAN} is stuck: it needs a hand, 10:42." in text(response)
    assert "Bo said so at 10:40, and what you add is kept with it." in text(response)
    response = ada.post(reverse("bench-take-back", args=[Entry.objects.get(sentence="Me too.").pk]), follow=True)
    assert "Taken back. What was added is put away." in text(response)
    assert Stuck.objects.standing().count() == 1


def test_carry_on_is_one_tap(ada: Client, stage: Stage) -> None:
    stuck = builders.say_stuck(stage).stuck
    response = carry_on(ada, stage, stuck.pk)
    assert response.redirect_chain == [(page_of(stage), 303)]
    assert f"{CAN} goes on." in text(response)
    assert "Stuck since" not in text(response)
    assert Stuck.objects.get().answered_by == builders.person("Ada")
    again = carry_on(ada, stage, stuck.pk)
    assert again.status_code == 200
    assert "goes on." not in text(again)
    page = text(ada.get(kept_page(stuck.entry)))
    assert f"{CAN} goes on. Ada, 10:42: it goes on." in page
    assert "Carry on" not in page


def test_a_page_from_before_does_not_carry_on_what_came_after(ada: Client, stage: Stage) -> None:
    first = builders.say_stuck(stage).stuck
    answer(first, minutes=1)
    builders.say_stuck(stage, Needs.BROKE, now=NOW + timedelta(minutes=2))
    carry_on(ada, stage, first.pk)
    assert Stuck.objects.standing().get().needs == Needs.BROKE


@pytest.mark.parametrize("odd", ["", "x", "²", "0", "4711", "9" * 30, "-1"])
def test_an_odd_carry_on_is_not_there(ada: Client, stage: Stage, odd: str) -> None:
    builders.say_stuck(stage)
    assert carry_on(ada, stage, odd).status_code == 404
    assert Stuck.objects.standing().count() == 1


def test_another_stage_s_is_not_carried_on_and_a_link_does_not_do_it(ada: Client, stage: Stage) -> None:
    stuck = builders.say_stuck(stage).stuck
    other = builders.stage(stage.piece.job, "mould")
    assert carry_on(ada, other, stuck.pk).status_code == 404
    assert ada.get(reverse("bench-carry-on", args=[stage.pk])).status_code == 405


def test_taken_back_it_is_as_if_not_said(ada: Client, stage: Stage) -> None:
    builders.lead()
    say(ada, stage)
    entry = Entry.objects.get()
    response = ada.post(reverse("bench-take-back", args=[entry.pk]), follow=True)
    assert f"Taken back. {CAN} is not stuck." in text(response)
    assert "letter" not in text(response)
    assert "Back to Talking watering can" in text(response)
    run_due(NOW)
    assert not Stuck.objects.standing().exists()


def test_taken_back_after_a_letter_had_gone_that_is_said(ada: Client, stage: Stage) -> None:
    builders.lead()
    say(ada, stage)
    run_due(NOW)
    response = ada.post(reverse("bench-take-back", args=[Entry.objects.get().pk]), follow=True)
    assert "A letter about it had gone to Ines. The page it leads to says that it was taken back." in text(response)


def test_done_ends_it(ada: Client, stage: Stage) -> None:
    entry = builders.say_stuck(stage)
    ada.post(page_of(stage), {"entry": str(uuid4()), "says": "done"})
    assert not Stuck.objects.standing().exists()
    assert "Stuck since" not in text(ada.get(page_of(stage)))
    assert "goes on." in text(ada.get(kept_page(entry)))


def test_in_a_closed_job_its_page_says_that_nothing_is_stuck(ada: Client, stage: Stage) -> None:
    entry = builders.say_stuck(stage)
    Job.objects.update(closed_on=NOW.date())
    page = text(ada.get(kept_page(entry)))
    assert "This job is closed, so nothing is stuck." in page
    assert "Carry on" not in page


# once it is answered


def test_the_answer_stands_at_the_top_until_the_stage_is_done(ada: Client, stage: Stage, clock: Any) -> None:
    entry = builders.say_stuck(stage)
    answer(entry.stuck)
    clock.shift(timedelta(hours=1))
    for page in (ada.get(page_of(stage)), ada.get(reverse("bench"))):
        assert '<p class="note told">Ines, 11:05: Use the grey one.</p>' in page.content.decode()
    assert f"{CAN} goes on. Ines, 11:05: Use the grey one." in text(ada.get(kept_page(entry)))
    second = builders.say_stuck(stage, Needs.ANSWER, now=NOW + timedelta(hours=1)).stuck
    answer(second, "Two coats.", minutes=61)
    told = ["Ines, 11:05: Use the grey one.", "Ines, 11:43: Two coats."]
    assert ada.get(page_of(stage)).context["answers"] == told
    builders.log_done(stage, now=NOW + timedelta(hours=1))
    assert "grey" not in text(ada.get(page_of(stage)))


def test_an_answer_without_words_leaves_no_line(ada: Client, stage: Stage) -> None:
    answer(builders.say_stuck(stage).stuck, "")
    assert ada.get(page_of(stage)).context["answers"] == []


# on the lists


@pytest.mark.parametrize(
    ("needs", "mark"),
    [
        (Needs.HAND, "stuck: a hand"),
        (Needs.MATERIAL, "stuck: material"),
        (Needs.ANSWER, "stuck: an answer"),
        (Needs.BROKE, "stuck: it broke"),
    ],
)
def test_next_is_the_first_that_is_not_stuck_and_a_stuck_one_comes_last(ada: Client, needs: Needs, mark: str) -> None:
    jobs = [builders.job(name) for name in ("Pretzel", "Giant boot", "Ammonite")]
    for job, day in zip(jobs, (12, 13, 14), strict=True):
        Job.objects.filter(pk=job.pk).update(van_day=date(2026, 3, day))
    builders.say_stuck(builders.stage(jobs[0]), needs)
    response = ada.get(reverse("bench"))
    assert labels(response) == ["Giant boot", "Ammonite", "Pretzel"]
    assert f"<span>carving, {mark}</span>" in response.content.decode()
    everything = ada.get(reverse("bench-all"))
    assert f"<span>carving, {mark}</span>" in everything.content.decode()
    assert labels(everything)[0] == "Pretzel"  # touched last
    assert "Next: Ammonite" in text(ada.get(page_of(builders.stage(jobs[1]))))
    assert "Next: Giant boot" in text(ada.get(page_of(builders.stage(jobs[0]))))


def test_where_all_is_stuck_that_is_what_the_bench_says(ada: Client) -> None:
    stages = [builders.stage(builders.job(name)) for name in ("Pretzel", "Giant boot")]
    entries = [builders.say_stuck(stage) for stage in stages]
    response = ada.get(reverse("bench"))
    page = text(response)
    assert page.startswith("All on your bench is stuck.")
    assert "Pretzel carving, stuck: material" in page
    assert len(logged(response)) == 2
    for address in (page_of(stages[0]), kept_page(entries[1])):
        assert "All else on your bench is stuck." in text(ada.get(address))
    assert Stuck.objects.standing().count() == 2


def test_what_is_next_elsewhere_is_not_a_stuck_one(ada: Client) -> None:
    bo = builders.person("Bo")
    stuck, free = (builders.job(name, maker=bo) for name in ("Pretzel", "Giant boot"))
    builders.say_stuck(builders.stage(stuck), by=bo)
    assert "Giant boot, carving, is next. Bo has it." in text(ada.get(reverse("bench")))
    builders.say_stuck(builders.stage(free), by=bo)
    page = text(ada.get(reverse("bench")))
    assert "is next." not in page
    assert "carving, stuck: material" in page


@pytest.mark.parametrize("asked", [1, 60])  # stuck ones that fit on the first page, and that run over to the next
def test_a_long_bench_shows_each_piece_once_and_the_stuck_ones_last(ada: Client, asked: int) -> None:
    job = builders.job("Snail 1")
    many(job, 119)
    by = builders.person("Ada")
    held = list(Stage.objects.filter(piece__name__startswith="Snail", kind__name="carving").order_by("id")[:asked])
    entries = [Entry(id=uuid4(), stage=stage, says=Says.STUCK, by=by, at=NOW, for_client=False) for stage in held]
    Entry.objects.bulk_create(entries)
    Stuck.objects.bulk_create(Stuck(entry=entry, stage=entry.stage, needs=Needs.HAND, at=NOW) for entry in entries)
    found = pages(ada, reverse("bench"))
    assert [len(page) for page in found] == [50, 50, 20]
    names = [piece for page in found for piece in page]
    assert len(set(names)) == 120
    assert names[-asked:] == [stage.piece.name for stage in held]


def test_what_you_logged_names_it(ada: Client, stage: Stage) -> None:
    builders.say_stuck(stage)
    assert logged(ada.get(reverse("bench"))) == ["10:42 carving of Talking watering can, stuck can still be taken back"]


def test_a_stuck_stage_costs_a_few_queries_however_much_was_said(
    ada: Client, stage: Stage, django_assert_num_queries: Count
) -> None:
    entry = builders.say_stuck(stage, sentence="One.")
    counts = []
    for address in (page_of(stage), kept_page(entry), form_of(stage)):
        with CaptureQueriesContext(connection) as asked:
            ada.get(address)
        counts.append(len(asked))
    for minutes in range(1, 20):
        builders.say_stuck(stage, sentence=f"{minutes}.", now=NOW + timedelta(minutes=minutes), photo=True)
    for address, count in zip((page_of(stage), kept_page(entry), form_of(stage)), counts, strict=True):
        with django_assert_num_queries(count):
            ada.get(address)
    assert max(counts) <= 17  # the plan is one of them


def test_the_lead_looks_first_makes_no_difference(ada: Client) -> None:
    stage = builders.stage(builders.job("Pretzel", release=Release.LOOKED))
    entry = builders.say_stuck(stage, photo=True)
    run_due(NOW)
    assert "The photo is developed. It is for us only." in text(ada.get(kept_page(entry)))
    assert not Photo.objects.to_look_at().exists()
