"""The look, as far as a test can hold it: contrast, sizes, and that nothing stands inline."""

import gzip
import hashlib
import re
from pathlib import Path

import pytest

from studio.front import sheets
from tests.front.conftest import ROOT

pytestmark = pytest.mark.once

TOKENS = (sheets.FOLDER / "tokens.css").read_text(encoding="utf-8")
_BLOCK = re.compile(r"(:root[^{\s]*)\s*\{([^{}]*)\}")
_COLOUR = re.compile(r"--([\w-]+):\s*(#[0-9A-F]{6});")


def colours() -> dict[str, dict[str, str]]:
    """Selector -> name -> #RRGGBB, the day's colours under each other set."""
    blocks = {selector: dict(_COLOUR.findall(body)) for selector, body in _BLOCK.findall(TOKENS)}
    return {selector: blocks[":root"] | block for selector, block in blocks.items()}


LIGHTS = {
    "day": colours()[":root"],
    "slate by the machine": colours()[":root:not([data-light=day])"],
    "slate by the switch": colours()[":root[data-light=slate]"],
    "print": colours()[":root:root:root"],
}
WORDS = [
    ("ink", "plaster"), ("ink", "sheet"), ("ink", "air"), ("ink", "over-wash"), ("ink", "chalk-wash"),
    ("pencil", "plaster"), ("pencil", "sheet"), ("pencil", "air"), ("pencil", "chalk-wash"),
    ("chalk", "plaster"), ("chalk", "sheet"), ("chalk", "chalk-wash"), ("chalk", "over-wash"),
    ("over", "plaster"), ("over", "sheet"), ("over", "over-wash"),
    ("board-ink", "board"), ("set-ink", "set"), ("tape-ink", "tape"), ("steel-ink", "steel"),
    ("chalk-ink", "chalk"), ("over-ink", "over"), ("plaster", "ink"),
]  # fmt: skip
MARKS = [
    ("edge", "plaster"), ("edge", "sheet"), ("board-edge", "board"), ("board-edge", "plaster"), ("set-edge", "set"),
    ("set-edge", "plaster"), ("over", "board"), ("over", "over-wash"), ("chalk", "plaster"), ("chalk", "sheet"),
]  # fmt: skip


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (https://www.w3.org/TR/WCAG22/#dfn-relative-luminance)."""
    channels = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_measure_itself() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    # From memory: #767676 is the lightest grey that passes 4.5 on white, #777777 the first that does not.
    assert contrast("#767676", "#FFFFFF") >= 4.5 > contrast("#777777", "#FFFFFF")


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize(("front", "back"), WORDS)
def test_words_can_be_read(light: str, front: str, back: str) -> None:
    """WCAG 2.2, 1.4.3."""
    assert contrast(LIGHTS[light][front], LIGHTS[light][back]) >= 4.5


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize(("front", "back"), MARKS)
def test_edges_and_marks_can_be_seen(light: str, front: str, back: str) -> None:
    """WCAG 2.2, 1.4.11."""
    assert contrast(LIGHTS[light][front], LIGHTS[light][back]) >= 3


_RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")


def pairs_set_together(css: str) -> set[tuple[str, str]]:
    """Words and ground, wherever one rule says both."""
    found = set()
    for _, body in _RULE.findall(css):
        words = re.search(r"(?:^|[;\s])color:\s*var\(--([\w-]+)\)", body)
        ground = re.search(r"(?:^|[;\s])background(?:-color)?:\s*var\(--([\w-]+)\)", body)
        if words and ground:
            found.add((words[1], ground[1]))
    return found


@pytest.mark.parametrize("face", sheets.FACES)
def test_each_pair_that_a_sheet_sets_together_is_looked_at(face: str) -> None:
    known = {frozenset(pair) for pair in WORDS}
    found = pairs_set_together(sheets.css(face))
    assert len(found) >= 6
    assert [pair for pair in sorted(found) if frozenset(pair) not in known] == []


@pytest.mark.parametrize("light", LIGHTS)
def test_the_crepe_of_the_tape_does_not_eat_its_words(light: str) -> None:
    share = re.search(r"var\(--tape-edge\) (\d+)%", (sheets.FOLDER / "look.css").read_text())
    assert share is not None
    part, now = int(share.group(1)) / 100, LIGHTS[light]
    pairs = ((int(now["tape-edge"][i : i + 2], 16), int(now["tape"][i : i + 2], 16)) for i in (1, 3, 5))
    stripe = "#" + "".join(f"{round(part * edge + (1 - part) * tape):02X}" for edge, tape in pairs)
    assert contrast(now["tape-ink"], stripe) >= 4.5


def test_the_two_slates_are_one() -> None:
    assert LIGHTS["slate by the machine"] == LIGHTS["slate by the switch"] != LIGHTS["day"]


@pytest.mark.parametrize("face", sheets.FACES)
def test_a_sheet_uses_only_tokens_that_there_are(face: str) -> None:
    text = sheets.css(face)
    known = set(re.findall(r"(--[\w-]+):", text))
    assert set(re.findall(r"var\((--[\w-]+)", text)) <= known
    assert "/*" not in text
    assert "</" not in text
    assert "url(" not in text


@pytest.mark.parametrize(("face", "most_bytes"), [("bench", 6_000), ("client", 6_500), ("office", 7_000)])
def test_a_sheet_leaves_room_for_the_page(face: str, most_bytes: int) -> None:
    """A bench page may weigh 8 kB with its sheet, a client's page 14 kB."""
    assert len(gzip.compress(sheets.css(face).encode())) <= most_bytes


FACES = [ROOT / "clientportal", *(ROOT / "studio" / face for face in ("front", "bench", "office"))]
TEMPLATES = sorted(
    path for folder in (ROOT / "studio" / "templates", *FACES) for path in folder.rglob("*.html") if path.is_file()
)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_nothing_stands_inline(path: Path) -> None:
    """The policy refuses style attributes, inline script and handlers; better that a test says so than a phone."""
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\sstyle\s*=", text)
    assert not re.search(r"<style\b", text)
    assert not re.search(r"<script\b(?![^>]*\bsrc=)", text)
    assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text)
    assert not re.search(r"javascript:", text)
    assert not re.search(r"\bhx-(?:on|vals\s*=\s*[\"']js)", text)


def test_there_are_templates_to_look_at() -> None:
    assert {"base.html", "base_quiet.html", "sign_in.html"} <= {path.name for path in TEMPLATES}


@pytest.mark.parametrize("vendor", [sheets.FOLDER / "vendor", ROOT / "tests/vendor"], ids=["pages", "tests"])
def test_vendored_files_are_what_the_lock_says(vendor: Path) -> None:
    lines = (vendor / "vendor.lock").read_text().splitlines()
    rows = [line.split(maxsplit=4) for line in lines if line and not line.startswith("#")]
    assert {row[0] for row in rows} == {path.name for path in vendor.iterdir()} - {"vendor.lock"}
    for name, version, digest, licence, _ in rows:
        assert version in name
        assert licence
        assert hashlib.sha256((vendor / name).read_bytes()).hexdigest() == digest
