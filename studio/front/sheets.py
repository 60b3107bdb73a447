"""The style sheet of a face: one text, put into each page's head, so that a slow phone waits for nothing else.

The content security policy lets exactly these texts through, by their hash, so both are made here from the same files.
"""

import base64
import functools
import hashlib
import re
from pathlib import Path

FOLDER = Path(__file__).resolve().parent.parent / "static"
FACES = {
    "": ("tokens", "look"),  # sign-in and error pages
    "bench": ("tokens", "look", "bench"),
    "office": ("tokens", "look", "office"),
    "wall": ("tokens", "look", "office", "wall"),
    "client": ("tokens", "look", "plank", "client"),
}
_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)


@functools.cache
def css(face: str) -> str:
    """Comments, indents and blank lines left out. Raises KeyError for a face that is none."""
    text = "\n".join((FOLDER / f"{name}.css").read_text(encoding="utf-8") for name in FACES[face])
    lines = (line.strip() for line in _COMMENT.sub("", text).splitlines())
    return "\n".join(line for line in lines if line)


@functools.cache
def source(face: str) -> str:
    """What a content security policy calls it (CSP level 3, hash-source): the SHA-256 of the style element's text."""
    digest = hashlib.sha256(css(face).encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"
