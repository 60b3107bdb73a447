"""Tags and filters for all faces: ``{% load front %}``.

``{% styles "bench" %}`` and ``{% script "bench/bench.js" %}`` stand in the head; ``{% asset "natch.svg" %}`` is an address.
``day`` and the like take a date, or an aware datetime, which is told in the current time zone; None is an empty string.
"""

import base64
import functools
import hashlib
from datetime import date, datetime, time
from pathlib import Path

from django import template
from django.contrib.staticfiles import finders
from django.templatetags.static import static
from django.utils.dateformat import format as written
from django.utils.dateformat import time_format
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from studio.front import sheets

register = template.Library()


@register.simple_tag
def styles(face: str = "") -> SafeString:
    """One style element with the whole sheet of a face. Its hash stands in the page's policy."""
    return mark_safe(f"<style>{sheets.css(face)}</style>")  # noqa: S308 - our own files, and nothing else


@functools.cache
def _fingerprint(path: str) -> tuple[str, str]:
    found = finders.find(path)
    if not isinstance(found, str):
        raise FileNotFoundError(f"There is no static file {path}.")
    content = Path(found).read_bytes()
    integrity = base64.b64encode(hashlib.sha384(content).digest()).decode()
    return f"{static(path)}?{hashlib.sha256(content).hexdigest()[:12]}", f"sha384-{integrity}"


@register.simple_tag
def asset(path: str) -> str:
    """The address of a static file, with its content's hash, so that it can be kept for a year and still be new at once."""
    return _fingerprint(path)[0]


@register.simple_tag
def script(path: str) -> SafeString:
    """A deferred script that the browser checks against its hash."""
    address, integrity = _fingerprint(path)
    return format_html('<script src="{}" integrity="{}" defer></script>', address, integrity)


@register.filter(expects_localtime=True)
def day(value: date | None) -> str:
    """Friday 27 November"""
    return written(value, "l j F") if value else ""


@register.filter(expects_localtime=True)
def day_year(value: date | None) -> str:
    """Friday 27 November 2026"""
    return written(value, "l j F Y") if value else ""


@register.filter(expects_localtime=True)
def short_day(value: date | None) -> str:
    """Fri 27 Nov, for drawings and margins"""
    return written(value, "D j M") if value else ""


@register.filter(expects_localtime=True)
def clock(value: datetime | time | None) -> str:
    """10:42"""
    return time_format(value, "H:i") if value is not None else ""
