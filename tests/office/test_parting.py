"""What goes for good is asked first, and says what goes; and what becomes of things when somebody leaves."""

import pytest
from django.test import Client as Browser

from studio.workshop import actions
from studio.workshop.models import Contact, Link, Person, Piece, Role, Stage
from tests import builders
from tests.conftest import NOW
from tests.office.rows import run_due, text, title

OLD = "a lump of wet plaster"


def standing() -> list[int]:
    rows = (Piece.objects.all(), Stage.objects.all(), Contact.objects.all(), Link.objects.standing())
    return [each.count() for each in rows]


@pytest.mark.parametrize("noun", ["piece", "stage", "contact", "link"])
def test_what_goes_for_good_is_asked_first(noun: str, office: Browser) -> None:
    job = builders.job()
    link = builders.link(job)
    piece, stage = builders.piece(job), builders.stage(job)
    page, where, asked, done = {
        "piece": (
            f"/office/pieces/{piece.pk}/remove/",
            f"/office/pieces/{piece.pk}/",
            "Remove Talking watering can? Its three stages go with it: carving, mould and lay-up.",
            "Talking watering can is removed.",
        ),
        "stage": (
            f"/office/stages/{stage.pk}/remove/",
            f"/office/stages/{stage.pk}/",
            "Remove carving of Talking watering can? Talking watering can no longer goes through it.",
            "carving is removed.",
        ),
        "contact": (
            f"/office/contacts/{link.contact_id}/remove/",
            f"/office/clients/{job.client_id}/",
            "Remove Priya? Priya is no contact of Wharfside Theatre any more. One link of theirs stops opening.",
            "Priya is removed.",
        ),
        "link": (
            f"/office/links/{link.pk}/revoke/",
            f"/office/jobs/{job.pk}/",
            "Revoke the link of Priya? Its address stops opening at once, for good.",
            "The link of Priya no longer opens.",
        ),
    }[noun]
    before = standing()
    assert f'href="{page}"' in office.get(where).content.decode()
    answer = office.get(page)
    assert asked in text(answer)
    assert f'<a class="btn plain" href="{where}">Leave it</a>' in answer.content.decode()
    assert standing() == before
    assert done in text(office.post(page, follow=True))
    assert standing() != before


def test_what_was_logged_at_is_not_offered_for_removal(office: Browser) -> None:
    stage = builders.stage(builders.job())
    builders.log_done(stage, photo=False)
    for address in (f"/office/stages/{stage.pk}/", f"/office/pieces/{stage.piece_id}/"):
        assert "Remove this" not in text(office.get(address))
        refused = office.post(f"{address}remove/")
        assert refused.status_code == 422
        assert title(refused).startswith("Error:")
        assert "so it stays" in text(refused)


def test_a_contact_who_has_had_letters_stays(office: Browser) -> None:
    job = builders.job()
    contact = builders.link(job).contact
    builders.log_done(builders.stage(job), photo=False)
    run_due(NOW.replace(hour=11))
    page = f"/office/contacts/{contact.pk}/remove/"
    assert f'href="{page}"' not in office.get(f"/office/clients/{job.client_id}/").content.decode()
    refused = office.post(page)
    assert refused.status_code == 422
    assert "Priya has had letters, so they stay." in text(refused)
    assert Contact.objects.exists()


def test_an_address_that_another_contact_has_is_said_and_nothing_is_lost(office: Browser) -> None:
    job = builders.job()
    contact = builders.contact(job)
    sent = {"name": "Prya", "email": contact.email.upper()}
    for page in (f"/office/clients/{job.client_id}/contacts/new/", f"/office/jobs/{job.pk}/contacts/new/"):
        refused = office.post(page, sent)
        assert refused.status_code == 422
        assert "Priya has that e-mail address already." in text(refused)
        assert 'value="Prya"' in refused.content.decode()
    assert Contact.objects.count() == 1


def test_one_keeps_ones_place_after_a_new_password_and_others_lose_theirs(office: Browser, ines: Person) -> None:
    elsewhere = Browser()
    elsewhere.force_login(ines)
    words = {"password": "a long enough word", "again": "a long enough word"}
    # Their own is changed where the old one is asked for.
    for method in (office.get, office.post):
        assert method(f"/office/people/{ines.pk}/password/", words).headers["Location"] == "/letterbox/password/"
    assert elsewhere.get("/office/people/").status_code == 200
    actions.set_password(ines, OLD, by=ines, now=NOW)
    for browser in (office, elsewhere):
        browser.force_login(Person.objects.get(pk=ines.pk))
    assert office.post("/letterbox/password/", {"old": OLD, **words}).status_code == 302
    assert office.get("/office/people/").status_code == 200
    assert elsewhere.get("/office/people/").status_code == 302
    rev = builders.person("Rev")
    theirs = Browser()
    theirs.force_login(rev)
    assert "everywhere but here" not in text(office.get(f"/office/people/{rev.pk}/password/"))
    office.post(f"/office/people/{rev.pk}/password/", words)
    assert theirs.get("/bench/").status_code == 302
    assert office.get("/office/people/").status_code == 200


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (0, "Rev is kept as you wrote it."),
        (1, "One stage was given to Rev; it is everybody's now."),
        (3, "Three stages were given to Rev; they are everybody's now."),
    ],
)
def test_what_somebody_leaves_undone_is_everybodys(count: int, said: str, office: Browser) -> None:
    rev = builders.person("Rev")
    job = builders.job(stages=["carving", "mould", "lay-up"][:count], maker=rev)
    done = builders.job("Boot", client="Hillfoot School", stages=["carving"], maker=rev)
    builders.log_done(builders.stage(done), photo=False)
    page = f"/office/people/{rev.pk}/"
    kept = {"name": "Rev", "email": rev.email, "role": Role.MAKER}
    still_here = text(office.post(page, kept | {"is_active": "on", "version": 1}, follow=True))
    assert "given to Rev" not in still_here
    answer = text(office.post(page, kept | {"version": 2}, follow=True))
    assert said in answer
    assert ("given to Rev" in answer) is bool(count)
    assert "Rev's" not in text(office.get(f"/office/jobs/{job.pk}/"))
    assert "next, Rev" not in text(office.get("/office/jobs/"))


def test_a_stage_of_somebody_who_is_here_is_theirs(office: Browser) -> None:
    job = builders.job(maker=builders.person("Rev"))
    assert "Rev's" in text(office.get(f"/office/jobs/{job.pk}/"))
    assert "next, Rev" in text(office.get("/office/jobs/"))


def test_a_piece_without_stages_says_so(office: Browser) -> None:
    piece = actions.add_piece(builders.job(), name="Snail 9", by=builders.lead(), now=NOW)
    assert "It has no stages." in text(office.get(f"/office/pieces/{piece.pk}/remove/"))
