"""The work that goes through the studio while it is measured, and the reckoning afterwards. Django must be set up."""

import hashlib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from email import message_from_bytes, policy
from pathlib import Path
from urllib.parse import urljoin
from uuid import UUID

from django.conf import settings
from django.utils import timezone

from studio.workshop import actions, links
from studio.workshop.models import (
    Errand,
    ErrandState,
    Letter,
    Person,
    Photo,
    Release,
    Rendition,
    Role,
    StageKind,
    Studio,
)
from studio.workshop.storage import rendition_path
from tests.measure.phone import Phone
from tests.measure.photos import shows

MAKERS = ("Ada", "Bo", "Cyril", "Dunja")
PASSWORD = "a-long-word-for-measuring"


@dataclass(frozen=True)
class Order:
    """One stage to be logged with one photo, by one maker, for one contact who follows its job."""

    stage_id: int
    maker_email: str
    contact_email: str
    client_path: str
    photo: Path


def set_out(photos: Sequence[Path]) -> list[Order]:
    """People and jobs, made through the studio's own actions, in a studio whose letters leave at once."""
    now = timezone.now()
    lead = actions.add_person(
        name="Greta", email="greta@measured.example", role=Role.LEAD, password=None, by=None, now=now
    )
    studio = Studio.objects.get()
    actions.change_studio(
        name=studio.name, time_zone=studio.time_zone, undo_minutes=0, version=studio.version, by=lead, now=now
    )
    makers = [
        actions.add_person(
            name=name, email=f"{name.lower()}@measured.example", role=Role.MAKER, password=PASSWORD, by=lead, now=now
        )
        for name in MAKERS
    ]
    return [_order(number, photo, makers[number % len(makers)], lead) for number, photo in enumerate(photos)]


def _order(number: int, photo: Path, maker: Person, lead: Person) -> Order:
    now = timezone.now()
    client = actions.add_client(name=f"Garden trail {number}", by=lead, now=now)
    job = actions.add_job(client=client, name=f"Garden snail {number}", release=Release.STRAIGHT, by=lead, now=now)
    piece = actions.add_piece(job, name=f"Snail {number}", by=lead, now=now)
    kind = StageKind.objects.get(name="lay-up")
    stage = actions.add_stage(piece, kind=kind, maker=maker, by=lead, now=now)
    email = f"trail-{number}@measured-client.example"
    contact = actions.add_contact(client, name="Priya", email=email, by=lead, now=now)
    link = actions.give_link(contact, job, by=lead, now=now)
    return Order(stage.pk, maker.email, email, links.path_for(link), photo)


def middle_picture(client: Phone, path: str) -> str | None:
    """The address of the 960 px copy of the photo on a page, where there is one. 960 is the long edge; pages tell widths."""
    sources = [source for picture in client.get(path).page.pictures for source in picture]
    return urljoin(path, min(sources, key=lambda source: abs(source[1] - 960))[0]) if sources else None


@dataclass(frozen=True)
class Reckoning:
    """What became of the orders. ``lost`` counts photos and letters that are not there, ``twice`` what is there once too often."""

    stages: int
    photos: int
    letters: int
    lost: int
    twice: int


def reckon(orders: Sequence[Order], seen: Iterable[Order]) -> Reckoning:
    """From the rows, the files and the outbox. ``seen`` are the orders whose photo stood on the client's page."""
    stages = [order.stage_id for order in orders]
    rows = Photo.objects.shown().filter(stage__in=stages).select_related("entry")
    logged = Counter(rows.filter(entry__says="done").values_list("stage_id", flat=True))
    whole = {photo.stage_id for photo in rows if _whole(photo)} & {order.stage_id for order in seen}
    addresses = {order.contact_email for order in orders}
    outbox = [letter for letter in _outbox() if letter[0] in addresses]
    rows_to = Letter.objects.filter(contact__email__in=addresses).values_list("contact__email", flat=True)
    told = {address for address, complete in outbox if complete} & set(rows_to)
    return Reckoning(
        stages=len(logged),
        photos=len(whole),
        letters=len(told),
        lost=2 * len(orders) - len(whole) - len(told),
        twice=sum(count - 1 for count in logged.values()) + len(outbox) - len({address for address, _ in outbox}),
    )


def _whole(photo: Photo) -> bool:
    """All three copies have a row, and their files hold what their names say."""
    copies = Rendition.objects.filter(photo=photo).values_list("sha256", flat=True)
    paths = [(name, rendition_path(name)) for name in copies]
    return len(paths) == 3 and all(
        path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == name for name, path in paths
    )


def _outbox() -> Iterator[tuple[str, bool]]:
    """To whom each letter there is, and whether its picture is in it. Each contact is owed one."""
    for path in Path(settings.OUTBOX).glob("*.eml"):
        mail = message_from_bytes(path.read_bytes(), policy=policy.default)
        complete = any(part.get_content_type() == "image/jpeg" for part in mail.walk())
        yield mail["To"].addresses[0].addr_spec, complete


def letters_there(orders: Sequence[Order]) -> int:
    """How many letters of these orders have both their row and their file."""
    written = Letter.objects.filter(contact__email__in=[order.contact_email for order in orders])
    return sum((Path(settings.OUTBOX) / f"{key}.eml").exists() for key in written.values_list("pk", flat=True))


def look(url: str, orders: Iterable[Order]) -> list[Order]:
    """The orders whose very photo a client finds on their page now."""
    client, found = Phone(url), []
    for order in orders:
        address = middle_picture(client, order.client_path)
        answer = client.get(address) if address else None
        if answer and answer.status == 200 and shows(order.photo, answer.body):
            found.append(order)
    return found


def at_work() -> dict[int, UUID]:
    """Which process works on which errand at this moment."""
    running = Errand.objects.filter(state=ErrandState.RUNNING).values_list("claimant", "pk")
    return {int(claimant.rsplit(":", 2)[1]): errand for claimant, errand in running}


def due_errands() -> list[UUID]:
    """What waits for a worker at this moment."""
    waiting = Errand.objects.filter(state=ErrandState.WAITING, due_at__lte=timezone.now())
    return list(waiting.values_list("pk", flat=True))


def not_done() -> int:
    """What was due and is not done, whatever the reason."""
    settled = [ErrandState.DONE, ErrandState.UNKNOWN]
    return Errand.objects.filter(due_at__lte=timezone.now()).exclude(state__in=settled).count()


def unknown() -> int:
    return Errand.objects.filter(state=ErrandState.UNKNOWN).count()


def when_done() -> dict[UUID, float]:
    """POSIX times."""
    done = Errand.objects.filter(state=ErrandState.DONE, done_at__isnull=False).values_list("pk", "done_at")
    return {errand: at.timestamp() for errand, at in done if at}
