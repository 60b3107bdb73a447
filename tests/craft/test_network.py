"""Every trouble that a shop can be in is a typed problem, and what is sound is laid out all the same."""

from dataclasses import replace

import pytest

from studio.craft.network import lay_out
from studio.craft.places import Place
from studio.craft.plan import plan
from studio.craft.stages import Done, Maker, Problem, Shop, Stage, Trouble
from studio.craft.workdays import Calendar
from tests.craft.shops import hand, shop, there

pytestmark = pytest.mark.once

ADA, BO = hand("Ada", "carve"), hand("Bo", "carve", "mould")


def carve(name: str, *after: str, work: int = 4, crew: int = 1, place: str = "", maker: str = "") -> Stage:
    return Stage(name, "boot", work, after, "carve", place, crew, maker=maker)


def problem(trouble: Trouble, stage: str, *others: str, number: int = 0) -> Problem:
    return Problem(trouble, stage, "boot", others, number)


def left(shop: Shop) -> tuple[str, ...]:
    return tuple(stage.id for stage in lay_out(shop).stages)


def test_a_sound_shop_is_laid_out_before_before_after() -> None:
    network = lay_out(shop(carve("a", "c"), carve("b"), carve("c", "b"), makers=(ADA,)))
    assert [stage.id for stage in network.stages] == ["b", "c", "a"]
    assert (network.follows, network.followers) == (((), (0,), (1,)), ((1,), (2,), ()))
    assert network.problems == ()


def test_a_ring_is_told_in_its_order_from_each_of_its_stages() -> None:
    found = lay_out(shop(carve("a", "c"), carve("b", "a"), carve("c", "b"), carve("d", "c"), makers=(ADA,)))
    assert found.problems == (
        problem(Trouble.FOLLOWS_ITSELF, "a", "a", "b", "c"),
        problem(Trouble.FOLLOWS_ITSELF, "b", "b", "c", "a"),
        problem(Trouble.FOLLOWS_ITSELF, "c", "c", "a", "b"),
        problem(Trouble.FOLLOWS_TROUBLE, "d", "c"),
    )
    assert found.stages == ()


def test_a_stage_may_follow_itself() -> None:
    found = lay_out(shop(carve("a", "a"), carve("b"), makers=(ADA,)))
    assert found.problems == (problem(Trouble.FOLLOWS_ITSELF, "a", "a"),)
    assert [stage.id for stage in found.stages] == ["b"]


def test_what_leads_into_a_ring_is_sound_and_two_rings_are_told_apart() -> None:
    rings = shop(
        carve("a"), carve("b", "a", "c"), carve("c", "b"), carve("d", "c", "e"), carve("e", "d"), makers=(ADA,)
    )
    assert [(it.stage, it.others) for it in lay_out(rings).problems] == [
        ("b", ("b", "c")),
        ("c", ("c", "b")),
        ("d", ("d", "e")),
        ("e", ("e", "d")),
    ]
    assert left(rings) == ("a",)


def test_a_stage_after_one_that_is_not_there() -> None:
    found = lay_out(shop(carve("a", "gone", "lost"), carve("b", "a"), makers=(ADA,)))
    assert found.problems == (
        problem(Trouble.FOLLOWS_NOTHING, "a", "gone", "lost"),
        problem(Trouble.FOLLOWS_TROUBLE, "b", "a"),
    )


def test_a_stage_after_one_that_is_done_starts_when_that_has_cured() -> None:
    found = lay_out(shop(carve("a", "cast"), makers=(ADA,), done=(Done("cast", "boot", at=3, cure=20),), now=10))
    assert (found.release, found.problems) == ((23,), ())


def test_a_stage_done_before_what_it_follows_is_a_remark() -> None:
    logged = shop(carve("a"), carve("b", "cast"), makers=(ADA,), done=(Done("cast", "boot", at=0, after=("a",)),))
    assert lay_out(logged).problems == (problem(Trouble.OUT_OF_ORDER, "cast", "a"),)
    assert left(logged) == ("a", "b")


def test_nobody_has_the_skill() -> None:
    paint = Stage("a", "boot", 4, skill="paint")
    assert lay_out(shop(paint, makers=(ADA, BO))).problems == (problem(Trouble.NOBODY_CAN, "a"),)
    assert lay_out(shop(paint, makers=(ADA, hand("Ines")))).problems == ()


def test_whoever_it_is_given_to_can() -> None:
    assert lay_out(shop(Stage("a", "boot", 4, skill="paint", maker="Ada"), makers=(ADA,))).problems == ()


def test_fewer_can_than_it_takes() -> None:
    two = Stage("a", "boot", 4, skill="mould", crew=2)
    assert lay_out(shop(two, makers=(ADA, BO))).problems == (problem(Trouble.TOO_FEW_CAN, "a", number=1),)
    assert lay_out(shop(replace(two, maker="Ada"), makers=(ADA, BO))).problems == ()


@pytest.mark.parametrize("place", [(), (Place("booth", 0),), (Place("bay"),)])
def test_a_place_that_is_not_there_or_holds_nothing(place: tuple[Place, ...]) -> None:
    found = lay_out(shop(carve("a", place="booth"), makers=(ADA,), places=place))
    assert found.problems == (problem(Trouble.NO_SUCH_PLACE, "a"),)


GONE = (
    (BO,),  # no longer here at all
    (BO, there("Ada", "##########")),  # never here again
    (BO, hand("Ada", free_from=960)),  # busy for good
    (BO, there("Ada", "")),
)


@pytest.mark.parametrize("makers", GONE)
def test_given_to_somebody_who_is_not_there(makers: tuple[Maker, ...]) -> None:
    found = lay_out(shop(carve("a", maker="Ada"), carve("b", crew=2), makers=makers, now=10))
    assert found.problems == (
        problem(Trouble.MAKER_GONE, "a"),
        problem(Trouble.TOO_FEW_CAN, "b", number=1),
    )


def test_no_hours_are_planned_as_taking_no_time() -> None:
    found = lay_out(shop(carve("a", work=0), carve("b", "a", work=-3), makers=(ADA,)))
    assert found.problems == (problem(Trouble.ZERO_HOURS, "a"), problem(Trouble.ZERO_HOURS, "b"))
    assert found.work == (0, 0)
    assert [(it.start, it.end) for it in plan(found).placed.values()] == [(0, 0), (0, 0)]


def test_more_work_than_the_grid_has_time_for() -> None:
    def troubles(*makers: Maker, crew: int = 1, maker: str = "") -> list[Trouble]:
        stage = carve("a", work=100, crew=crew, maker=maker)
        return [it.trouble for it in lay_out(shop(stage, makers=makers, now=10)).problems]

    short, long = there("Ada", "#" * 109), there("Bo", "#" * 110)
    assert troubles(short) == [Trouble.TOO_LONG]
    assert troubles(short, long) == []
    assert troubles(short, long, maker="Ada") == [Trouble.TOO_LONG]
    assert troubles(short, long, crew=2) == [Trouble.TOO_LONG]
    assert troubles(replace(long, id="Ada"), long, crew=2) == []
    assert troubles(replace(long, free_from=11)) == [Trouble.TOO_LONG]
    assert troubles() == []  # no limit but the shop's own hours
    assert lay_out(shop(carve("a", work=961))).problems == (problem(Trouble.TOO_LONG, "a"),)


def test_what_follows_trouble_is_named_with_what_it_follows_directly() -> None:
    stages = (carve("a", work=5000), carve("b", "gone"), carve("c", "b", "a"), carve("d", "c"), carve("e"))
    assert lay_out(shop(*stages, makers=(ADA,))).problems == (
        problem(Trouble.TOO_LONG, "a"),
        problem(Trouble.FOLLOWS_NOTHING, "b", "gone"),
        problem(Trouble.FOLLOWS_TROUBLE, "c", "a", "b"),
        problem(Trouble.FOLLOWS_TROUBLE, "d", "c"),
    )
    assert left(shop(*stages, makers=(ADA,))) == ("e",)


def test_all_that_is_wrong_with_one_stage_is_told() -> None:
    stage = Stage("a", "boot", 0, ("a", "gone"), "paint", "booth")
    assert {it.trouble for it in lay_out(shop(stage, makers=(ADA,))).problems} == {
        Trouble.FOLLOWS_ITSELF,
        Trouble.FOLLOWS_NOTHING,
        Trouble.NOBODY_CAN,
        Trouble.NO_SUCH_PLACE,
        Trouble.ZERO_HOURS,
    }


def test_stages_that_ask_for_the_same_share_their_need() -> None:
    found = lay_out(shop(carve("a"), carve("b"), carve("c", crew=2), makers=(ADA, BO)))
    assert [(need.able, need.crew, need.maker, need.place) for need in found.needs] == [
        ((0, 1), 1, -1, -1),
        ((0, 1), 2, -1, -1),
    ]
    assert found.need == (0, 0, 1)


def test_somebody_is_there_when_anybody_is() -> None:
    early, late = there("Ada", "##..#"), there("Bo", ".##..")
    (need,) = lay_out(shop(Stage("a", "boot", 1), makers=(early, late))).needs
    assert need.calendar.open[:6] == bytes((1, 1, 1, 0, 1, 0))
    (need,) = lay_out(shop(Stage("a", "boot", 1, maker="Bo"), makers=(early, late))).needs
    assert need.calendar is late.calendar


def test_without_makers_the_shops_own_hours_count() -> None:
    network = lay_out(shop(carve("a"), carve("b", maker="Ada")))
    assert network.needs[0].calendar is network.shop.calendar
    assert network.problems == (problem(Trouble.MAKER_GONE, "b"),)


def test_a_grid_that_begins_after_now_or_is_over() -> None:
    early = shop(carve("a"), makers=(ADA,), now=-500)
    assert (lay_out(early).release, lay_out(early).problems) == ((0,), ())
    over = shop(carve("a"), makers=(ADA,), now=5000)
    assert lay_out(over).problems == (problem(Trouble.NOBODY_CAN, "a"),)


def test_nobody_at_all_in_an_empty_shop() -> None:
    network = lay_out(replace(shop(), calendar=Calendar(bytes(960))))
    assert (network.stages, network.problems) == ((), ())
