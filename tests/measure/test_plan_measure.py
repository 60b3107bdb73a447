"""The shops that the plan is measured on are what they should be, and their plans are lawful."""

import pytest

from studio.craft.network import lay_out
from studio.craft.plan import plan
from tests.conftest import need_shared
from tests.craft.lawful import faults
from tests.measure.plan import DAYS, SEEDS, shop_of, told_shop
from tests.measure.plan_pass import forward_pass

pytestmark = [pytest.mark.once, pytest.mark.shared]


@pytest.mark.parametrize(("seed", "jobs"), SEEDS)
def test_each_shop_has_six_hundred_stages_and_a_lawful_plan(seed: int, jobs: int) -> None:
    told = told_shop(need_shared("planning/shops.py"), seed, jobs)
    shop = shop_of(told, DAYS)
    assert (len(shop.stages), len(shop.jobs), len(shop.makers)) == (600, jobs, 8)
    hours = sum(stage["hours"] for stage in told["stages"])
    assert hours <= sum(stage.work * stage.crew for stage in shop.stages) / 4 < hours * 1.02  # rounded up, never down
    found = plan(lay_out(shop))
    assert found.problems == ()
    assert len(found.placed) == 600
    assert faults(shop, found) == []


@pytest.mark.parametrize(("seed", "jobs"), SEEDS)
def test_the_bare_pass_is_below_every_plan(seed: int, jobs: int) -> None:
    """It knows no calendar, people or places, so each stage ends no later in it."""
    network = lay_out(shop_of(told_shop(need_shared("planning/shops.py"), seed, jobs), DAYS))
    _, ends = forward_pass(range(600), network.follows, network.work, network.cure)
    placed = plan(network).placed
    assert all(end <= placed[stage.id].end - network.shop.now for stage, end in zip(network.stages, ends, strict=True))
