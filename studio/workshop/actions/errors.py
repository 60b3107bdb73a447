"""What an action says when it cannot be done.

Refused              a sentence for the person who asked; nothing was changed
├── Stale            somebody changed the row in the meantime; carries the row as it is now
└── TooLate          it can no longer be taken back
"""

from typing import Any


class Refused(Exception):
    """The message is a sentence that says what to do."""


class Stale(Refused):
    def __init__(self, current: Any) -> None:
        super().__init__("Somebody changed this while you were writing. Both texts are below: keep what is right.")
        self.current = current


class TooLate(Refused):
    pass
