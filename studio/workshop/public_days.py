"""Public holidays of countries and their regions, from the package ``holidays``. Nothing else here knows that package.

A studio takes its closures from here when its lead asks, and keeps them: the package learns of new days with its versions,
and a plan must not change by itself. The package is read only then, since it takes long to import.
"""

import re
from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from holidays import HolidayBase

_WORD = re.compile(r"(?<=[a-z])(?<!Mc)(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_SMALL = re.compile(r"(?<= )(And|Da|Of|The)(?= )")


class NoSuchRegion(Exception):
    """A country or region that has no list of public holidays here. Its text is the sentence to show."""


def countries() -> list[tuple[str, str]]:
    """Codes (ISO 3166-1 alpha-2) and English names of the countries, by name."""
    from holidays.registry import COUNTRIES

    found = [(code, _in_words(name)) for name, code, *_ in COUNTRIES.values()]
    return sorted(found, key=lambda country: country[1].casefold())


def regions(country: str) -> list[tuple[str, str]]:
    """Codes and names of a country's regions, by name; empty where all of it keeps the same days. Raises NoSuchRegion."""
    entity = _entity(country)
    names: dict[str, str] = {}
    for alias, code in entity.subdivisions_aliases.items():
        if not alias.isupper():  # some of them are one more code
            names.setdefault(code, alias)
    return sorted(((code, names.get(code, code)) for code in entity.subdivisions), key=lambda region: region[1])


def public_days(country: str, region: str, years: Iterable[int]) -> list[tuple[date, str]]:
    """Public holidays and their names, in order; in English where the package has it. ``region`` "" means no region.

    A day at a weekend is there under its own date, and again under that of its substitute where the law gives one.
    Raises NoSuchRegion.
    """
    from holidays import country_holidays

    entity = _entity(country)
    if region and region not in entity.subdivisions:
        raise NoSuchRegion(f"There is no region “{region}” in the list for this country. Choose one from the list.")
    found = country_holidays(
        country, subdiv=region or None, years=years, language=_english(entity), categories=("public",)
    )
    return sorted(found.items())


def _entity(country: str) -> "HolidayBase":
    from holidays import country_holidays

    if country not in dict(countries()):
        raise NoSuchRegion(f"There is no country “{country}” in the list of public holidays. Choose one from the list.")
    return country_holidays(country)


def _english(entity: "HolidayBase") -> str | None:
    """The country's own English, else any, British before American; None is the language that its list is written in."""
    known = sorted(language for language in entity.supported_languages if language.startswith("en"))
    if entity.default_language in known:
        return entity.default_language
    return known[0] if known else None


def _in_words(name: str) -> str:
    return _SMALL.sub(lambda word: word[0].lower(), _WORD.sub(" ", name))
