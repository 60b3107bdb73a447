"""When somebody was at a stage, by what was logged: the spans are read off the events by hand."""

from datetime import datetime, timedelta

import pytest

from studio.workshop.planning.spent import EVER, Event, Span, spent
from tests.conftest import NOW

pytestmark = pytest.mark.once
ADA, BO, ONE, TWO = 3, 4, 11, 12


def at(hour: int) -> datetime:
    return NOW + timedelta(hours=hour)


def photo(hour: int, stage: int) -> Event:
    return Event(at(hour), stage, done=False)


def done(hour: int, stage: int) -> Event:
    return Event(at(hour), stage, done=True)


def test_who_takes_a_photo_is_at_it_until_they_are_at_another() -> None:
    assert spent({ADA: [photo(0, ONE)]}, {}) == {ONE: [Span(ADA, at(0), EVER)]}
    assert spent({ADA: [photo(5, TWO), photo(0, ONE)]}, {}) == {
        ONE: [Span(ADA, at(0), at(5))],
        TWO: [Span(ADA, at(5), EVER)],
    }


def test_back_at_the_first_the_second_has_what_it_had() -> None:
    assert spent({ADA: [photo(0, ONE), photo(5, TWO), photo(8, ONE)]}, {}) == {
        ONE: [Span(ADA, at(0), at(5)), Span(ADA, at(8), EVER)],
        TWO: [Span(ADA, at(5), at(8))],
    }


def test_what_is_done_in_between_gives_back_to_the_first_only_what_comes_after() -> None:
    found = spent({ADA: [photo(0, ONE), photo(2, TWO), done(30, TWO)]}, {})
    assert found[ONE] == [Span(ADA, at(0), at(2)), Span(ADA, at(30), EVER)]


def test_each_has_time_of_their_own() -> None:
    found = spent({ADA: [photo(0, ONE), photo(4, TWO)], BO: [photo(3, ONE)]}, {})
    assert found[ONE] == [Span(ADA, at(0), at(4)), Span(BO, at(3), EVER)]


def test_what_is_stuck_takes_no_time_however_often_it_was_said() -> None:
    found = spent({ADA: [photo(0, ONE)]}, {ONE: [(at(2), at(6)), (at(4), at(8)), (at(20), EVER)]})
    assert found == {ONE: [Span(ADA, at(0), at(2)), Span(ADA, at(8), at(20))]}
