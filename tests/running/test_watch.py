"""Every ten seconds: workers that hear nothing are restarted, and work that does not end is ended."""

from unittest.mock import Mock, call

import pytest

from studio.running import watch
from studio.running.supervisor import Supervisor

pytestmark = pytest.mark.once


@pytest.fixture
def supervisor() -> Mock:
    found = Mock(spec=Supervisor)
    found.restarts.return_value = 0
    return found


def test_deaf_workers_are_restarted_and_then_given_time_to_hear(supervisor: Mock) -> None:
    deaf, now = Mock(return_value=False), Mock(return_value=900.0)
    hook = watch.hook(supervisor, ["worker-1", "worker-2"], deaf=deaf, overdue=lambda: [], clock=now)
    assert hook.call()
    deaf.return_value = True
    assert hook.call()  # what came due overnight is no sign: the workers have only just been started
    supervisor.restart.assert_not_called()

    now.return_value = 1000.0
    assert hook.call()
    assert [args.args[0] for args in supervisor.restart.call_args_list] == ["worker-1", "worker-2"]

    now.return_value = 1080.0  # still starting, or at its first errand
    hook.call()
    assert supervisor.restart.call_count == 2

    now.return_value = 1095.0
    hook.call()
    assert supervisor.restart.call_count == 4


def test_workers_are_restarted_once_each_time_that_the_broker_was(supervisor: Mock) -> None:
    hook = watch.hook(supervisor, ["worker"], deaf=lambda: False, overdue=lambda: [])
    for restarts, asked in ((0, 0), (1, 1), (1, 1), (3, 2)):
        supervisor.restarts.return_value = restarts
        assert hook.call()
        assert supervisor.restart.call_count == asked
    supervisor.restarts.assert_called_with("broker")


def test_who_works_past_the_limit_is_killed(supervisor: Mock) -> None:
    hook = watch.hook(supervisor, [], deaf=lambda: False, overdue=lambda: [41, 42])
    assert hook.call()
    assert [args.args[0] for args in supervisor.kill.call_args_list] == [41, 42]
    assert supervisor.kill.call_args_list[0] == call(41, "an errand ran past its time limit")
