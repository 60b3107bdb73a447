"""The demo's photographs: one short script draws them, and they look like somebody took them in a workshop."""

import ast
import sys
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageFilter, ImageStat

from fixtures.photos import draw
from fixtures.photos.draw import DRAWINGS, STATES, drawing
from fixtures.photos.forms import PROPS
from fixtures.photos.many import drawn
from tests import house

SCRIPT = Path(draw.__file__)
PARTS = ("draw.py", "forms.py", "scene.py")
TEXTS = [(SCRIPT.parent / name).read_text() for name in PARTS]
SMALL = (320, 240)
LONGEST_SCRIPT = 500


def taken(prop: str, state: str, seed: int = 0) -> Image.Image:
    return Image.open(BytesIO(drawing(prop, state, SMALL, seed))).convert("RGB")


def colour(picture: Image.Image, box: tuple[int, int, int, int]) -> list[float]:
    return ImageStat.Stat(picture.crop(box)).mean


def test_one_short_script_draws_them_all() -> None:
    assert sum(len(text.splitlines()) for text in TEXTS) <= LONGEST_SCRIPT
    assert all(len(text.splitlines()) <= house.LONGEST_MODULE for text in TEXTS)
    # phone.py makes the files of a phone, with what is around the pixels, for the tests of what comes in; many.py runs the script.
    assert {path.name for path in SCRIPT.parent.glob("*.py")} == {*PARTS, "__init__.py", "many.py", "phone.py"}


def test_it_needs_nothing_but_pillow() -> None:
    nodes = [node for text in TEXTS for node in ast.walk(ast.parse(text))]
    names = {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}
    names |= {one.name for node in nodes if isinstance(node, ast.Import) for one in node.names}
    names -= {f"fixtures.photos.{part.removesuffix('.py')}" for part in PARTS}
    assert {name.partition(".")[0] for name in names} <= sys.stdlib_module_names | {"PIL"}
    assert not any("ImageFont" in text for text in TEXTS)


def test_every_prop_is_among_them() -> None:
    assert {prop for prop, _ in DRAWINGS} == set(PROPS)
    assert {state for _, state in DRAWINGS} == set(STATES)
    assert 12 <= len(DRAWINGS) == len(set(DRAWINGS)) <= 16


@pytest.mark.parametrize(("prop", "state"), DRAWINGS)
def test_a_drawing_has_the_grain_and_the_uneven_light_of_a_photograph(prop: str, state: str) -> None:
    picture = taken(prop, state)
    assert picture.size == SMALL
    fine = ImageChops.difference(picture, picture.filter(ImageFilter.GaussianBlur(1.5)))
    wall = (130, 4, 190, 20)
    assert ImageStat.Stat(fine.crop(wall)).mean[1] > 1.5  # even where nothing stands there is grain
    bench = [sum(colour(picture, (left, 205, left + 40, 238))) for left in (10, 270)]
    assert bench[0] > bench[1] * 1.05  # brighter towards the window
    assert ImageStat.Stat(picture.convert("L")).stddev[0] > 25
    low, high = picture.convert("L").getextrema()
    assert isinstance(low, int)
    assert isinstance(high, int)
    assert (low < 40, high > 200) == (True, True)


def test_the_same_seed_draws_the_same_and_another_does_not() -> None:
    assert drawing("snail", "lay-up", SMALL, 3) == drawing("snail", "lay-up", SMALL, 3)
    assert drawing("snail", "lay-up", SMALL, 3) != drawing("snail", "lay-up", SMALL, 4)


def test_resin_is_amber_and_primer_is_grey() -> None:
    belly = (136, 150, 176, 170)  # the middle of the watering can
    amber, grey, blue = (colour(taken("watering-can", state), belly) for state in ("lay-up", "prime", "paint"))
    assert amber[0] > amber[2] * 2
    assert max(grey) - min(grey) < 20
    assert blue[2] > blue[0] * 1.3


def test_the_halves_of_a_mould_key_together() -> None:
    """A natch stands proud: towards the window it is bright, and dark on its other side. In its socket it is the other way."""
    picture = taken("ear-bone", "mould").convert("L")

    def towards_the_window(x: int, y: int) -> float:
        near, far = (ImageStat.Stat(picture.crop((x + d - 3, y + d - 3, x + d + 3, y + d + 3))) for d in (-4, 4))
        return near.mean[0] - far.mean[0]

    assert towards_the_window(18, 47) > 20
    assert towards_the_window(184, 38) < -20


def test_what_is_not_drawn_is_a_mistake() -> None:
    for prop, state in (("teapot", "paint"), ("snail", "eaten")):
        with pytest.raises(KeyError):
            drawing(prop, state, SMALL)


def test_many_come_in_their_order_and_no_two_are_alike() -> None:
    first, second = drawn([("snail", "prime"), ("snail", "prime")])
    assert Image.open(BytesIO(first)).size == (1280, 960)
    assert (first, second) == (drawing("snail", "prime", seed=0), drawing("snail", "prime", seed=1))


def test_what_cannot_be_drawn_is_said() -> None:
    with pytest.raises(ChildProcessError, match="snail, flight could not be drawn"):
        list(drawn([("snail", "flight")]))
