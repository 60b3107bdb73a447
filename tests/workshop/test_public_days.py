"""Public holidays against the days that governments publish, and movable feasts against a formula for Easter."""

import json
import subprocess
import sys
from datetime import date, timedelta

import pytest

from studio.workshop.public_days import NoSuchRegion, countries, public_days, regions
from tests.conftest import need_shared

pytestmark = pytest.mark.once


def in_year(year: int, *days: tuple[int, int]) -> set[date]:
    return {date(year, month, day) for month, day in days}


# Bank holidays as gov.uk/bank-holidays lists them. From memory, with these checks: the rules of the Banking and Financial
# Dealings Act 1971, schedule 1 (30 November in Scotland: legislation.gov.uk/asp/2007/2, section 1, read); the substitutes of
# December 2026 and 2027 and of 2 January 2027 in third-party copies of gov.uk/bank-holidays.json; 15 June 2026 in Scotland
# in the Scottish Government's announcement of 5 February 2026. 12 July in Northern Ireland is proclaimed each year.
# That list gives only the substitute where a day falls on a weekend; the package gives both (``AT_WEEKENDS``).
GOV_UK = {
    ("GB", "ENG", 2026): in_year(2026, (1, 1), (4, 3), (4, 6), (5, 4), (5, 25), (8, 31), (12, 25), (12, 28)),
    ("GB", "ENG", 2027): in_year(2027, (1, 1), (3, 26), (3, 29), (5, 3), (5, 31), (8, 30), (12, 27), (12, 28)),
    ("GB", "SCT", 2026): in_year(
        2026, (1, 1), (1, 2), (4, 3), (5, 4), (5, 25), (6, 15), (8, 3), (11, 30), (12, 25), (12, 28)
    ),
    ("GB", "SCT", 2027): in_year(2027, (1, 1), (1, 4), (3, 26), (5, 3), (5, 31), (8, 2), (11, 30), (12, 27), (12, 28)),
    ("GB", "NIR", 2026): in_year(
        2026, (1, 1), (3, 17), (4, 3), (4, 6), (5, 4), (5, 25), (7, 13), (8, 31), (12, 25), (12, 28)
    ),
    ("GB", "NIR", 2027): in_year(
        2027, (1, 1), (3, 17), (3, 26), (3, 29), (5, 3), (5, 31), (7, 12), (8, 30), (12, 27), (12, 28)
    ),
}
GOV_UK |= {("GB", "WLS", year): GOV_UK["GB", "ENG", year] for year in (2026, 2027)}

# Ireland: the days of the Organisation of Working Time Act 1997, second schedule (read; olir.it/documenti/legge-1997), and
# the first Monday in February, or 1 February where that is a Friday (csna.ie/extra-public-holiday, read). They stay where
# they are at weekends. The days of 2026 also stand at calendarworld.online with citizensinformation.ie named as its source.
IRELAND = {
    ("IE", "", 2026): in_year(
        2026, (1, 1), (2, 2), (3, 17), (4, 6), (5, 4), (6, 1), (8, 3), (10, 26), (12, 25), (12, 26)
    ),
    ("IE", "", 2027): in_year(
        2027, (1, 1), (2, 1), (3, 17), (3, 29), (5, 3), (6, 7), (8, 2), (10, 25), (12, 25), (12, 26)
    ),
}

# The days on which federal offices of the USA close: 5 U.S.C. 6103, with Friday for Saturday and Monday for Sunday (from memory;
# federalholidays.net, read, moves the three of 2027 to the same days). Friday 31 December 2027 stands for 1 January 2028.
USA = {
    ("US", "", 2026): in_year(
        2026, (1, 1), (1, 19), (2, 16), (5, 25), (6, 19), (7, 3), (9, 7), (10, 12), (11, 11), (11, 26), (12, 25)
    ),
    ("US", "", 2027): in_year(
        2027,
        (1, 1),
        (1, 18),
        (2, 15),
        (5, 31),
        (6, 18),
        (7, 5),
        (9, 6),
        (10, 11),
        (11, 11),
        (11, 25),
        (12, 24),
        (12, 31),
    ),
}

PUBLISHED = GOV_UK | IRELAND | USA

# What the package has besides: the days themselves, on a Saturday or Sunday, whose substitutes are published.
AT_WEEKENDS = {
    ("GB", 2026): in_year(2026, (12, 26)),
    ("GB", 2027): in_year(2027, (12, 25), (12, 26)),
    ("US", 2026): in_year(2026, (7, 4)),
    ("US", 2027): in_year(2027, (6, 19), (7, 4), (12, 25)),
    ("GB", "SCT", 2027): in_year(2027, (1, 2)),
    ("GB", "NIR", 2026): in_year(2026, (7, 12)),
}


@pytest.mark.parametrize(("country", "region", "year"), PUBLISHED)
def test_days_are_those_that_governments_publish(country: str, region: str, year: int) -> None:
    besides = AT_WEEKENDS.get((country, year), set()) | AT_WEEKENDS.get((country, region, year), set())
    assert all(day.weekday() >= 5 for day in besides)
    assert {day for day, _ in public_days(country, region, [year])} == PUBLISHED[country, region, year] | besides


def test_days_of_several_years_come_in_order_with_names() -> None:
    found = public_days("GB", "ENG", [2027, 2026])
    assert [day for day, _ in found] == sorted(day for day, _ in found)
    assert found[:2] == [(date(2026, 1, 1), "New Year's Day"), (date(2026, 4, 3), "Good Friday")]
    assert {day.year for day, _ in found} == {2026, 2027}
    assert public_days("GB", "ENG", []) == []


def test_without_a_region_a_country_has_the_days_that_all_of_it_keeps() -> None:
    everywhere = set.intersection(*(set(public_days("GB", region, [2026])) for region, _ in regions("GB")))
    assert set(public_days("GB", "", [2026])) == everywhere


@pytest.mark.shared
def test_england_is_as_in_the_open_data() -> None:
    listed = json.loads(need_shared("planning/uk_holidays_2026_27.json").read_text())["england_bank_holidays"]
    assert public_days("GB", "ENG", [2026, 2027]) == [(date.fromisoformat(day), name) for day, name in listed.items()]


# --- movable feasts


def easter(year: int) -> date:
    """The Gregorian Easter Sunday by the anonymous algorithm that Butcher's Ecclesiastical Calendar printed in 1876.

    Source: J. Meeus, Astronomical Algorithms, 1991, chapter 8 (from memory).
    """
    golden = year % 19
    century, of_century = divmod(year, 100)
    leap_centuries, rest = divmod(century, 4)
    moon = (19 * golden + century - leap_centuries - (century - (century + 8) // 25 + 1) // 3 + 15) % 30
    leap_years, rest_years = divmod(of_century, 4)
    weekday = (32 + 2 * rest + 2 * leap_years - moon - rest_years) % 7
    late = (golden + 11 * moon + 22 * weekday) // 451
    month, day = divmod(moon + weekday - 7 * late + 114, 31)
    return date(year, month, day + 1)


def test_the_formula_knows_easters() -> None:
    """Meeus gives 1991 and 1818, the earliest that there is (from memory); 2026 and 2027 are gov.uk's Mondays less a day."""
    assert [easter(year) for year in (1818, 1991, 2026, 2027)] == [
        date(1818, 3, 22),
        date(1991, 3, 31),
        date(2026, 4, 5),
        date(2027, 3, 28),
    ]


@pytest.mark.parametrize(
    ("country", "region", "feasts"),
    [
        ("GB", "ENG", {"Good Friday": -2, "Easter Monday": 1}),
        # Article 1 of Bavaria's Feiertagsgesetz (from memory)
        (
            "DE",
            "BY",
            {"Good Friday": -2, "Easter Monday": 1, "Ascension": 39, "Pentecost Monday": 50, "Corpus Christi": 60},
        ),
    ],
)
def test_movable_feasts_move_with_easter(country: str, region: str, feasts: dict[str, int]) -> None:
    for year in range(2000, 2061):
        found = public_days(country, region, [year])
        for name, days in feasts.items():
            day = easter(year) + timedelta(days)
            assert any(on == day and name in called for on, called in found), (name, year)


# --- countries and regions


def test_countries_have_a_code_and_a_name() -> None:
    found = dict(countries())
    assert len(found) == len(countries()) > 200
    assert all(len(code) == 2 and code.isupper() for code in found)
    assert (found["GB"], found["IE"], found["DE"], found["US"]) == (
        "United Kingdom",
        "Ireland",
        "Germany",
        "United States",
    )
    assert (found["IM"], found["CD"], found["HM"]) == ("Isle of Man", "DR Congo", "Heard Island and McDonald Islands")
    names = [name.casefold() for _, name in countries()]
    assert names == sorted(names)


def test_regions_have_a_code_and_a_name() -> None:
    assert regions("GB") == [("ENG", "England"), ("NIR", "Northern Ireland"), ("SCT", "Scotland"), ("WLS", "Wales")]
    assert ("BC", "British Columbia") in regions("CA")
    assert ("971", "Guadeloupe") in regions("FR")  # the package knows two more codes for it
    assert ("Augsburg", "Augsburg") in regions("DE")
    assert regions("IE") == []


def test_every_country_can_be_asked() -> None:
    """None are known where nobody lives, and in Ukraine, where martial law of 2022 suspends them (from memory)."""
    without = {name for code, name in countries() if not public_days(code, "", [2026])}
    assert without == {
        "Bouvet Island",
        "British Indian Ocean Territory",
        "Heard Island and McDonald Islands",
        "Ukraine",
    }


@pytest.mark.parametrize(
    ("country", "name"),
    [("GB", "New Year's Day"), ("DE", "New Year's Day"), ("NZ", "New Year's Day"), ("BE", "New Year's Day")],
)
def test_names_are_english_where_there_are_any(country: str, name: str) -> None:
    assert public_days(country, "", [2026])[0] == (date(2026, 1, 1), name)


def test_names_in_the_countrys_own_english_come_first() -> None:
    assert (date(2026, 5, 1), "Labour Day") in public_days("KE", "", [2026])


def test_names_may_be_in_no_english_at_all() -> None:
    """A language is only asked for where the package has it."""
    assert public_days("BS", "", [2026])[0] == (date(2026, 1, 1), "New Year's Day")


@pytest.mark.parametrize("country", ["XX", "", "gb", "GBR"])
def test_an_unknown_country_gets_a_sentence(country: str) -> None:
    said = f"There is no country “{country}” in the list of public holidays. Choose one from the list."
    with pytest.raises(NoSuchRegion) as refused:
        public_days(country, "", [2026])
    assert str(refused.value) == said
    with pytest.raises(NoSuchRegion) as refused:
        regions(country)
    assert str(refused.value) == said


@pytest.mark.parametrize(("country", "region"), [("GB", "XX"), ("GB", "England"), ("IE", "ENG")])
def test_an_unknown_region_gets_a_sentence(country: str, region: str) -> None:
    with pytest.raises(NoSuchRegion) as refused:
        public_days(country, region, [2026])
    assert (
        str(refused.value) == f"There is no region “{region}” in the list for this country. Choose one from the list."
    )


def test_the_package_is_read_only_when_it_is_asked() -> None:
    looks = "import sys, studio.workshop.public_days as days; seen = 'holidays' in sys.modules; days.countries(); "
    said = subprocess.run(
        [sys.executable, "-c", looks + "print(seen, 'holidays' in sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert said.stdout.split() == ["False", "True"]
