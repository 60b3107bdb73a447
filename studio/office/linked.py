"""Sentences with links in them: words, and where some of them lead."""

from collections.abc import Iterable
from html import escape

from django.utils.safestring import SafeString, mark_safe

from studio.office.wording import sentence

Part = tuple[str, str]  # some words, and the address that they lead to, empty for none
Parts = tuple[Part, ...]


def parts(*given: str | Part) -> Parts:
    return tuple((one, "") if isinstance(one, str) else one for one in given if one)


def upper_first(given: Parts) -> Parts:
    """Begins with a capital letter."""
    (words, address), *rest = given
    return ((sentence(words), address), *rest)


def joined(given: Iterable[Parts], between: str) -> Parts:
    found: list[Part] = []
    for number, one in enumerate(given):
        found += [(between, "")] if number else []
        found += one
    return tuple(found)


def plain(given: Parts) -> str:
    return "".join(words for words, _ in given)


def html(given: Parts) -> SafeString:
    told = (
        f'<a href="{escape(address)}">{escape(words)}</a>' if address else escape(words) for words, address in given
    )
    return mark_safe("".join(told))  # noqa: S308
