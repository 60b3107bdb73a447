"""The pseudo-locale en_XA: every string of portal, letters and bench, made foreign by a rule: "done" is ⟦ďôñê⟧.

A page rendered in it shows what does not go through gettext. ``python -m tests.pseudo`` writes its files anew.
"""

import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.utils.translation.template import templatize

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "studio" / "locale" / "en_XA" / "LC_MESSAGES"
PO, MO = FOLDER / "django.po", FOLDER / "django.mo"
SOURCES = ("clientportal", "studio/bench", "studio/front", "studio/letterbox", "studio/templates", "studio/workshop")
KEYWORDS = {
    "_": None,
    "gettext": None,
    "gettext_lazy": None,
    "ngettext": (1, 2),
    "ngettext_lazy": (1, 2),
    "pgettext": ((1, "c"), 2),
    "npgettext": ((1, "c"), 2, 3),
}
_SOME_DAY = datetime(2026, 1, 1, tzinfo=UTC)  # a header must have one, and it should not change with every run
_KEPT = re.compile(r"%\(\w+\)\w|%%|%[sd]|\{\w*\}|<[^>]+>|&\w+;")
_FOREIGN = str.maketrans("abcdeghilnorstuwyzACDEGILNORSTUWYZ", "åƀçďêğĥîļñôŕšţûŵýžÅÇĎÊĞÎĻÑÔŔŠŢÛŴÝŽ")


def foreign(text: str) -> str:
    """Accents on the letters, brackets around the whole; placeholders, tags and entities stay as they are."""
    pieces, kept = _KEPT.split(text), [*_KEPT.findall(text), ""]
    return "⟦" + "".join(piece.translate(_FOREIGN) + keep for piece, keep in zip(pieces, kept, strict=True)) + "⟧"


def messages() -> Catalog:
    """What the sources hold, in pseudo."""
    catalog = Catalog(
        locale="en",  # for its plurals; the pseudo-locale is known to nobody
        project="Natch",
        version="1",
        copyright_holder="Natch",
        msgid_bugs_address="nobody",
        last_translator="python -m tests.pseudo",
        language_team="nobody",
        header_comment="# Written by python -m tests.pseudo.",
        creation_date=_SOME_DAY,
        revision_date=_SOME_DAY,
        fuzzy=False,
    )
    for message, context in sorted(set(_messages()), key=str):
        told = foreign(message) if isinstance(message, str) else tuple(map(foreign, message))
        catalog.add(message, told, context=context)
    return catalog


def _messages() -> Iterator[tuple[str | tuple[str, ...], str | None]]:
    for folder in SOURCES:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix not in {".py", ".html", ".txt"}:
                continue
            text = path.read_text(encoding="utf-8")
            # Inside brackets the indents of a template mean nothing to the reader of Python.
            source = text if path.suffix == ".py" else f"({templatize(text, origin=str(path))})"
            for _line, message, _comments, context in extract("python", io.BytesIO(source.encode()), KEYWORDS):
                yield message, context


def written(catalog: Catalog) -> bytes:
    out = io.BytesIO()
    write_po(out, catalog, width=120)
    return out.getvalue()


def compiled(po: bytes) -> bytes:
    out = io.BytesIO()
    write_mo(out, read_po(io.BytesIO(po)))
    return out.getvalue()


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    PO.write_bytes(written(messages()))
    MO.write_bytes(compiled(PO.read_bytes()))
    print(f"{len(messages())} strings in {PO.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
