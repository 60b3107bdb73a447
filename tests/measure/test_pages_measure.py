"""What the measurement of pages reckons with."""

import pytest

from tests.measure import pages

pytestmark = pytest.mark.once


@pytest.mark.parametrize(
    ("shifts", "worst"),
    [
        ([], 0),
        ([(100, 0.1), (900, 0.2)], 0.3),
        ([(100, 0.1), (1100, 0.2)], 0.2),  # a second apart: another window
        ([(at, 0.1) for at in range(0, 6000, 900)], 0.6),  # five seconds are the most: six of the seven
    ],
)
def test_shifts_are_summed_by_their_windows(shifts: list[tuple[float, float]], worst: float) -> None:
    assert pages.cls(shifts) == pytest.approx(worst)


def test_the_phone_is_as_slow_as_said() -> None:
    """DevTools counts bytes a second (Network.emulateNetworkConditions) and ms."""
    assert (pages.SLOW["downloadThroughput"] * 8, pages.SLOW["latency"]) == (400_000, 400)
