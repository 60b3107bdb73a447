import base64
import hashlib
import re
from datetime import UTC, date, datetime

import pytest
from django.template import engines
from django.test import Client
from django.utils import timezone

pytestmark = pytest.mark.once

# 27 November 2026 is a Friday (`date -d 2026-11-27 +%A`). 23:30 UTC is 00:30 of the next day in Berlin, an hour ahead.
LATE = datetime(2026, 11, 27, 23, 30, tzinfo=UTC)


def drawn(source: str, **context: object) -> str:
    return engines["django"].from_string("{% load front %}" + source).render(context)


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("day", "Friday 27 November"),
        ("day_year", "Friday 27 November 2026"),
        ("short_day", "Fri 27 Nov"),
    ],
)
def test_days_are_written_out(name: str, written: str) -> None:
    assert drawn(f"{{{{ when|{name} }}}}", when=date(2026, 11, 27)) == written
    assert drawn(f"{{{{ when|{name} }}}}", when=None) == ""


def test_an_instant_is_told_in_the_zone_of_whoever_reads() -> None:
    with timezone.override("Europe/London"):
        assert drawn("{{ when|short_day }} {{ when|clock }}", when=LATE) == "Fri 27 Nov 23:30"
    with timezone.override("Europe/Berlin"):
        assert drawn("{{ when|short_day }} {{ when|clock }}", when=LATE) == "Sat 28 Nov 00:30"


def test_the_clock_has_two_figures_each() -> None:
    with timezone.override("UTC"):
        assert drawn("{{ when|clock }}", when=datetime(2026, 1, 5, 8, 5, tzinfo=UTC)) == "08:05"
    assert drawn("{{ when|clock }}", when=None) == ""


def test_a_script_is_what_its_hash_says(site: Client) -> None:
    tag = drawn('{% script "vendor/htmx-2.0.10.min.js" %}')
    found = re.fullmatch(r'<script src="(/static/[^"]+)\?[0-9a-f]{12}" integrity="sha384-([^"]+)" defer></script>', tag)
    assert found is not None
    served = b"".join(site.get(found.group(1)))
    # Subresource Integrity, 3.3: the base64 of the digest of the bytes that are served.
    assert base64.b64encode(hashlib.sha384(served).digest()).decode() == found.group(2)


def test_a_file_that_is_not_there_is_said_at_once() -> None:
    with pytest.raises(FileNotFoundError, match="no-such"):
        drawn('{% script "no-such.js" %}')


def test_a_face_that_is_none_is_said_at_once() -> None:
    with pytest.raises(KeyError):
        drawn('{% styles "garden" %}')
