"""How each kind of errand runs, and how often it is tried."""

from dataclasses import dataclass

from studio.workshop.models import Kind

# Seconds until the next try, one after the other; after the last it has failed.
SOON_S = (2, 4, 8, 16, 32, 64, 128)
# A mail server that says "later" is asked quickly at first, since it is often but a restart, and then as RFC 5321, 4.5.4.1
# wants it: with half an hour and more between, for about two days.
LETTER_S = (5, 30, 120, 600, 1800, 3600, *(10800,) * 15)


@dataclass(frozen=True)
class Terms:
    """How a kind of errand runs: its queue, and the seconds after which it is asked, then made, to stop; and how long it
    waits for more of the same, so that many askings become one."""

    queue: str
    soft_s: int
    hard_s: int
    waits_s: tuple[int, ...] = SOON_S
    gather_s: int = 0


TERMS = {
    Kind.DEVELOP_PHOTO: Terms("photos", 20, 30),
    # The mail server has 90 s to answer the final dot (workshop/mail.py).
    Kind.SEND_LETTER: Terms("letters", 150, 180, LETTER_S),
    Kind.TELL_LEAD: Terms("letters", 150, 180, LETTER_S),
    Kind.INVITE: Terms("letters", 150, 180, LETTER_S),
    Kind.TEST_LETTER: Terms("letters", 150, 180, ()),
    Kind.REFRESH_PLAN: Terms("letters", 60, 90, gather_s=2),
    Kind.TIDY_FILES: Terms("letters", 60, 90),
}


TO_MANY = (Kind.SEND_LETTER, Kind.TELL_LEAD, Kind.INVITE)  # letters that wait together when a mail server takes none
