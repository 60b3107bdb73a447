"""Hours, closed days and public holidays, as the lead sets them."""

import re
from datetime import date
from html import unescape

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from studio.workshop import actions
from studio.workshop.models import Closure, Errand, ErrandState, Kind, Person, Studio
from studio.workshop.public_days import public_days
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text, title, version

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
WEEK = dict.fromkeys(DAYS[:5], "8-12:30, 13-17")


def plan_waits() -> bool:
    return Errand.objects.filter(kind=Kind.REFRESH_PLAN, state=ErrandState.WAITING).exists()


def forget_errands() -> None:
    Errand.objects.all().delete()


def fields(html: str) -> dict[str, str]:
    """Names and values of what stands in the inputs of a page."""
    found = re.findall(r"<input[^>]*>", html)
    pairs = [(re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)) for tag in found]
    return {name[1]: unescape(value[1]) if value else "" for name, value in pairs if name}


# --- hours


def test_the_hours_stand_there_in_one_form_whatever_was_written(office: Browser) -> None:
    forget_errands()
    page = office.get("/office/hours/")
    assert "The shop is open 42½ hours a week" in text(page)  # 5 × (4½ + 4)
    assert fields(page.content.decode())["monday"] == "08:00–12:30, 13:00–17:00"
    sent = {"monday": "8.30-17", "tuesday": "7 to 12 and 1pm to 4pm", "saturday": "shut", "version": version(page)}
    answer = office.post("/office/hours/", sent, follow=True)
    assert "The shop is open 16½ hours a week now." in text(answer)
    assert Studio.objects.get().hours == [
        [["08:30", "17:00"]],
        [["07:00", "12:00"], ["13:00", "16:00"]],
        *[[]] * 5,
    ]
    shown = fields(answer.content.decode())
    assert [shown[day] for day in DAYS] == ["08:30–17:00", "07:00–12:00, 13:00–16:00", *[""] * 5]
    assert plan_waits()


def test_hours_that_cannot_be_get_a_sentence_beside_their_day_and_nothing_is_lost(office: Browser) -> None:
    before = Studio.objects.get().hours
    odd = {"monday": "17-8", "tuesday": "8-12, 11-13", "wednesday": "8:10-12", "thursday": "early", "friday": "9-12"}
    answer = office.post("/office/hours/", odd | {"version": "1"})
    assert answer.status_code == 422
    assert title(answer).startswith("Error:")
    html = answer.content.decode()
    for day, sentence in (
        ("monday", "write the earlier hour first"),
        ("tuesday", "overlap"),
        ("wednesday", "quarter hours"),
        ("thursday", "Write the hours like 08:00–12:30, 13:00–17:00."),
    ):
        beside = re.search(rf'<p class="err" id="weekform-{day}_error">([^<]+)</p>', html)
        assert beside, day
        assert sentence in beside[1]
        assert re.search(rf'name="{day}"[^>]*aria-invalid="true"[^>]*aria-describedby="weekform-{day}_error"', html)
    assert 'id="weekform-friday_error"' not in html
    assert {day: fields(html)[day] for day in odd} == odd
    assert Studio.objects.get().hours == before


def test_a_shop_that_never_opens_is_refused(office: Browser) -> None:
    forget_errands()
    answer = office.post("/office/hours/", {"monday": "shut", "version": "1"})
    assert answer.status_code == 422
    assert "Leave at least one day with hours" in text(answer)
    assert not plan_waits()


def test_hours_that_somebody_else_has_overtaken_show_both_days(office: Browser) -> None:
    old = version(office.get("/office/hours/"))
    tom = Browser()
    tom.force_login(builders.lead("Tom"))
    tom.post("/office/hours/", WEEK | {"friday": "8-12", "version": old})
    mine = office.post("/office/hours/", WEEK | {"saturday": "9-12", "version": old})
    assert mine.status_code == 409
    assert "Friday as Tom left it 08:00–12:00 Saturday as Tom left it none Sunday" in text(mine)
    assert fields(mine.content.decode())["saturday"] == "9-12"
    assert office.post("/office/hours/", WEEK | {"saturday": "9-12", "version": version(mine)}).status_code == 302
    assert Studio.objects.get().hours[5] == [["09:00", "12:00"]]


def test_the_page_of_hours_names_who_has_hours_of_their_own(office: Browser, ada: Person, ines: Person) -> None:
    assert "Nobody has any" in text(office.get("/office/hours/"))
    actions.change_work(
        ada, in_plan=True, skills=[], hours=[[["08:00", "12:00"]]] * 7, version=ada.version, by=ines, now=NOW
    )
    page = office.get("/office/hours/")
    assert "Ada works other hours." in text(page)
    assert f"/office/people/{ada.pk}/days/" in page.content.decode()


# --- closed days


def test_days_are_shut_and_opened_again(office: Browser) -> None:
    forget_errands()
    assert "No closed days are coming" in text(office.get("/office/closures/"))
    one = {"first_day": "2026-05-01", "last_day": "", "name": "Yard is dug up"}
    answer = office.post("/office/closures/", one, follow=True)
    assert "The shop is shut on Fri 1 May: Yard is dug up." in text(answer)
    assert "The shop is next shut on Fri 1 May: Yard is dug up" in text(answer)
    assert plan_waits()
    several = {"first_day": "2026-08-03", "last_day": "2026-08-14", "name": "Summer break"}
    answer = office.post("/office/closures/", several, follow=True)
    assert "from Mon 3 Aug to Fri 14 Aug: Summer break." in text(answer)
    assert [(row.first_day, row.last_day, row.public) for row in Closure.objects.all()] == [
        (date(2026, 5, 1), date(2026, 5, 1), False),
        (date(2026, 8, 3), date(2026, 8, 14), False),
    ]
    forget_errands()
    row = Closure.objects.get(name="Yard is dug up")
    answer = office.post(f"/office/closures/{row.pk}/remove/", follow=True)
    assert "Yard is dug up is no longer a closed day." in text(answer)
    assert [row.name for row in Closure.objects.all()] == ["Summer break"]
    assert plan_waits()
    assert office.post(f"/office/closures/{row.pk}/remove/").status_code == 404


def test_a_closed_day_that_cannot_be_gets_a_sentence_and_keeps_what_was_typed(office: Browser) -> None:
    for sent, sentence in (
        ({"first_day": "2026-08-14", "last_day": "2026-08-03", "name": "Break"}, "It ends before it begins."),
        ({"first_day": "2026-08-14", "last_day": "2028-08-03", "name": "Break"}, "more than a year"),
        ({"first_day": "", "last_day": "2026-08-03", "name": "Break"}, "Write the day like 2026-12-04."),
        ({"first_day": "tomorrow", "last_day": "", "name": "Break"}, "Write the day like 2026-12-04."),
        ({"first_day": "2026-08-14", "last_day": "", "name": ""}, "Say why in a word."),
    ):
        answer = office.post("/office/closures/", sent)
        assert answer.status_code == 422
        assert title(answer).startswith("Error:")
        assert sentence in text(answer)
        assert {name: fields(answer.content.decode())[name] for name in sent} == sent
    assert not Closure.objects.exists()


def test_what_is_coming_stands_first_and_what_is_over_apart(office: Browser, ines: Person) -> None:
    today = NOW.date()
    for first, last, name in (
        (date(2026, 3, 9), today, "Stocktaking"),
        (date(2027, 1, 4), date(2027, 1, 4), "Late start"),
        (date(2026, 3, 2), date(2026, 3, 9), "Flood"),
    ):
        actions.add_closure(first_day=first, last_day=last, name=name, by=ines, now=NOW)
    said = text(office.get("/office/closures/"))
    assert "The shop is shut today: Stocktaking" in said
    order = ["Coming in 2026", "Mon 9 Mar to Tue 10 Mar", "Coming in 2027", "Late start", "Gone by", "Flood"]
    places = [said.index(words) for words in order]
    assert places == sorted(places)


def test_closed_days_page_by_key_both_ways(office: Browser, ines: Person) -> None:
    for number in range(1, 29):
        for year, months in ((2025, (1, 2)), (2027, (1, 2))):
            for month in months:
                day = date(year, month, number)
                actions.add_closure(first_day=day, last_day=day, name=f"Day {day}", by=ines, now=NOW)
    for key, count in (("after", 56), ("before", 56)):
        seen: list[str] = []
        address = "/office/closures/"
        while address:
            html = office.get(address).content.decode()
            years = r"Day (2027-[-\d]+)</p>" if key == "after" else r"Day (2025-[-\d]+)</p>"
            seen += re.findall(years, html)
            further = re.search(rf'href="(\?{key}=[^"]+)"', html)
            address = "/office/closures/" + unescape(further[1]) if further else ""
        assert len(seen) == len(set(seen)) == count
    for nonsense in ("nonsense~", "9999-99-99~1", "2026-01-01~x", "\0~\0", f"2026-01-01~{'9' * 30}"):
        assert office.get("/office/closures/", {"after": nonsense, "before": nonsense}).status_code == 200


# --- public holidays


def test_public_holidays_country_first_then_its_region_then_the_days(office: Browser) -> None:
    forget_errands()
    page = office.get("/office/closures/public/")
    assert "Put these" not in text(page)
    assert '<select id="region"' not in page.content.decode()
    country = office.get("/office/closures/public/", {"country": "GB"}).content.decode()
    assert '<select id="region"' in country
    assert ">Scotland<" in country
    chosen = office.get("/office/closures/public/", {"country": "GB", "region": "SCT"})
    said = text(chosen)
    # gov.uk/bank-holidays, Scotland (from memory): Good Friday 3 April and St Andrew's Day 30 November 2026
    assert "Fri 3 Apr Good Friday" in said
    assert "Mon 30 Nov Saint Andrew's Day" in said
    assert "compare it with what your government publishes" in said
    days = public_days("GB", "SCT", [2026, 2027, 2028])
    assert f"Put these {len(days)} days in" in said
    assert not Closure.objects.exists()  # looking puts nothing in
    answer = office.post("/office/closures/public/", {"country": "GB", "region": "SCT"}, follow=True)
    assert f"{len(days)} public holidays are there now" in text(answer)
    assert [(row.first_day, row.name) for row in Closure.objects.filter(public=True)] == days
    studio = Studio.objects.get()
    assert (studio.country, studio.region) == ("GB", "SCT")
    assert plan_waits()


def test_a_country_without_regions_needs_no_second_step(office: Browser) -> None:
    page = office.get("/office/closures/public/", {"country": "IE"})
    assert '<select id="region"' not in page.content.decode()
    assert "Saint Patrick's Day" in text(page)
    assert "Put these" in text(page)


def test_the_region_of_another_country_is_left_behind(office: Browser) -> None:
    page = office.get("/office/closures/public/", {"country": "DE", "region": "SCT"})
    assert page.status_code == 200
    html = page.content.decode()
    assert 'name="region" value=""' in html
    assert '<option value="BY">Bayern</option>' in html or '<option value="BY">Bavaria</option>' in html


def test_the_studios_own_country_stands_first_and_its_days_are_shown(office: Browser, ines: Person) -> None:
    actions.import_public_days(country="NO", region="", by=ines, now=NOW, today=NOW.date())
    html = office.get("/office/closures/public/").content.decode()
    countries = re.findall(r'<option value="([A-Z]{2})"', html)
    assert countries[0] == "NO"
    assert countries[1] == "AF"
    assert '<option value="NO" selected>' in html
    assert "Put these" in html


def test_a_later_import_replaces_what_was_imported_and_keeps_your_own(office: Browser, ines: Person) -> None:
    old = date(2025, 12, 25)
    Closure.objects.create(first_day=old, last_day=old, name="Christmas Day", public=True)
    actions.add_closure(first_day=NOW.date(), last_day=NOW.date(), name="Ours", by=ines, now=NOW)
    office.post("/office/closures/public/", {"country": "GB", "region": "SCT"})
    office.post("/office/closures/public/", {"country": "GB", "region": "ENG"})
    england = public_days("GB", "ENG", [2026, 2027, 2028])
    assert [(row.first_day, row.name) for row in Closure.objects.filter(public=True)] == [
        (old, "Christmas Day"),
        *england,
    ]
    assert Closure.objects.filter(name="Ours", public=False).exists()


@pytest.mark.parametrize("sent", [{"country": "XX"}, {"country": "GB", "region": "Atlantis"}, {"country": ""}, {}])
def test_a_country_that_is_none_gets_a_sentence(sent: dict[str, str], office: Browser) -> None:
    answer = office.post("/office/closures/public/", sent)
    assert answer.status_code == 422
    assert title(answer).startswith("Error:")
    assert "Choose one from the list." in text(answer)
    assert not Closure.objects.exists()
    assert office.get("/office/closures/public/", sent).status_code in {200, 422}


def test_days_that_all_regions_share_are_said_to_be_no_more_than_that(office: Browser) -> None:
    shared = "These are the days that every region keeps."
    assert shared in text(office.get("/office/closures/public/", {"country": "GB"}))
    assert shared not in text(office.get("/office/closures/public/", {"country": "GB", "region": "SCT"}))


def test_the_page_of_closed_days_asks_as_much_for_fifty_as_for_one(office: Browser, ines: Person) -> None:
    def questions() -> int:
        office.get("/office/closures/")
        with CaptureQueriesContext(connection) as asked:
            assert office.get("/office/closures/").status_code == 200
        return len(asked)

    def add(number: int) -> None:
        for year in (2025, 2027):
            day = date.fromordinal(date(year, 1, 1).toordinal() + number)
            actions.add_closure(first_day=day, last_day=day, name="Shut", by=ines, now=NOW)

    add(0)
    at_one = questions()
    for number in range(1, 50):
        add(number)
    assert questions() == at_one


def test_the_settings_lead_to_all_of_it_in_sentences(office: Browser, ines: Person) -> None:
    actions.add_closure(first_day=date(2026, 5, 1), last_day=date(2026, 5, 1), name="May day", by=ines, now=NOW)
    page = office.get("/office/settings/")
    said = text(page)
    assert "Hours when the shop is open: 42½ hours a week." in said
    assert "Closed days and public holidays: the next is May day, Fri 1 May." in said
    assert "Places where things are made: eight places." in said
    for address in ("hours", "closures", "people", "places", "kinds"):
        assert f'href="/office/{address}/"' in page.content.decode()
