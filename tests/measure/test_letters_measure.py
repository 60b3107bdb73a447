"""The reckoning of letters counts what it should, with faults planted."""

import pytest

from tests.mail_sink import How, mailbox
from tests.measure.letters import reckon

pytestmark = pytest.mark.once
OK, DEFERRED, REFUSED, CUT = (mailbox(how, 1) for how in (How.OK, How.DEFER_DOT, How.REFUSE_DOT, How.CUT_LOST))
ALL_WELL = {OK: "sent", DEFERRED: "sent", REFUSED: "refused", CUT: "unknown"}


def test_all_well() -> None:
    found = reckon(ALL_WELL, [OK, DEFERRED], 1)
    assert found == {
        "contacts": 4,
        "accepted": 2,
        "refused": 1,
        "unknown": 1,
        "cut_after_dot": 1,
        "twice": 0,
        "never": 0,
    }


def test_what_came_twice_and_what_never_came() -> None:
    assert reckon(ALL_WELL, [OK, OK, DEFERRED], 1)["twice"] == 1
    assert reckon(ALL_WELL, [OK], 1)["never"] == 1


def test_what_is_called_sent_and_is_not() -> None:
    assert reckon({**ALL_WELL, CUT: "sent"}, [OK, DEFERRED], 1)["never"] == 1


def test_what_is_given_up_though_the_server_would_have_taken_it() -> None:
    assert reckon({**ALL_WELL, DEFERRED: "refused"}, [OK], 1)["never"] == 1
