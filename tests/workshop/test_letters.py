"""Letters as they leave: few words, one fact, one picture, one link, and nothing that a name could smuggle in."""

import re
from datetime import timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from html import unescape
from io import BytesIO
from uuid import UUID, uuid4

import fast_mail_parser
import pytest
from django.test import override_settings
from PIL import Image

from studio.workshop import actions, letters, links, outbox
from studio.workshop.actions.studio import SENTENCES
from studio.workshop.links import address_for
from studio.workshop.models import Contact, Job, Link, Needs, Notice, StageKind, Stuck, Studio
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
LETTER = UUID("0d1f6f0e-0000-4000-8000-00000000000f")
MOST_WORDS, MOST_PICTURE_BYTES = 60, 60_000


@pytest.fixture
def link() -> Link:
    return builders.link(builders.job())


def busy() -> bytes:
    """A photo as hard to compress as they come."""
    out = BytesIO()
    Image.merge("RGB", [Image.effect_noise((2400, 1600), spread) for spread in (60, 80, 100)]).save(out, "JPEG")
    return out.getvalue()


def notice_of(link: Link, *, photo: bool = False, sentence: str = "", for_client: bool = True) -> Notice:
    entry = builders.log_done(builders.stage(link.job), photo=photo, sentence=sentence, for_client=for_client)
    return Notice.objects.get(entry=entry)


def parse(mail: EmailMessage) -> EmailMessage:
    """Read back from its bytes by a parser that raises on every defect."""
    read = message_from_bytes(mail.as_bytes(), policy=policy.strict)
    assert isinstance(read, EmailMessage)
    assert not any(part.defects for part in read.walk())
    return read


def written_to(
    name: str = "Priya", address: str = "priya@client.example", subject: str = "It is done"
) -> letters.Written:
    return letters.Written(name, address, subject, "text", "<p>html</p>", None)


def read_aloud(html: str) -> str:
    body = re.sub(r"<img[^>]*>", "", html[html.index("<body") :])
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


@pytest.mark.parametrize(("kind", "sentence"), sorted(SENTENCES.items()))
@pytest.mark.parametrize("picture", [b"jpeg", None])
def test_at_most_sixty_words(link: Link, kind: str, sentence: str, picture: bytes | None) -> None:
    """With the studio's own sentence, a job and a piece of several words, and a title."""
    notice = notice_of(link, sentence=sentence)
    notice.stage.kind = StageKind.objects.get(name=kind)
    notice.stage.title, notice.stage.piece.name = "second coat", "Leaning lamp post"
    written = letters.stage_done(notice, picture, NOW)
    assert 15 < len(written.text.split()) <= MOST_WORDS
    assert len(read_aloud(written.html).split()) <= MOST_WORDS


@pytest.mark.parametrize("picture", [b"jpeg", None])
def test_both_parts_are_complete(link: Link, picture: bytes | None) -> None:
    written = letters.stage_done(notice_of(link, sentence="Six blocks & a rasp."), picture, NOW)
    for part in (" ".join(written.text.split()), read_aloud(written.html)):
        assert "Hello Priya," in part
        assert "Talking watering can: carving is done." in part
        assert "Six blocks & a rasp." in part
        assert address_for(link) in part
        assert "our studio" in part.lower()


def test_one_link_as_text_and_on_a_line_of_its_own(link: Link) -> None:
    written = letters.stage_done(notice_of(link), b"jpeg", NOW)
    assert written.text.count("http") == 1
    assert address_for(link) in written.text.splitlines()
    assert re.findall(r'href="([^"]+)"', written.html) == [address_for(link)]
    assert f">{address_for(link)}</a>" in written.html
    assert re.findall(r'(?:src|background)="([^"]+)"', written.html) == ["cid:picture"]
    assert "url(" not in written.html


def test_the_subject_states_one_fact(link: Link) -> None:
    assert letters.stage_done(notice_of(link), None, NOW).subject == "Talking watering can: carving is done"


def test_where_a_job_has_several_pieces_the_subject_says_which(link: Link) -> None:
    notice = notice_of(link)
    notice.stage.piece.name = "Snail 3"
    assert letters.stage_done(notice, None, NOW).subject == "Talking watering can: carving is done on Snail 3"


def test_what_is_for_us_only_is_not_quoted(link: Link) -> None:
    written = letters.stage_done(notice_of(link, sentence="Their sketch was wrong.", for_client=False), None, NOW)
    assert "sketch" not in written.text + written.html
    assert StageKind.objects.get(name="carving").sentence in written.text


def test_it_reads_without_pictures_and_in_the_dark(link: Link) -> None:
    html = letters.stage_done(notice_of(link), b"jpeg", NOW).html
    assert 'alt="Talking watering can, carving"' in html
    assert '<html lang="en-gb">' in html
    assert "prefers-color-scheme: dark" in html
    assert "max-width:560px" in html
    assert "font:16px/1.5" in html
    assert html.count("<table") == html.count('role="presentation"')
    assert "<script" not in html


def test_markup_in_a_name_stays_text(link: Link) -> None:
    notice = notice_of(link, sentence="<b>x</b>")
    notice.contact.name = "<script>x()</script>"
    written = letters.stage_done(notice, None, NOW)
    assert "<script" not in written.html
    assert "<b>x</b>" not in written.html
    assert "Hello <script>x()</script>," in written.text


def test_without_a_link_or_an_address_none_is_written(link: Link) -> None:
    notice = notice_of(link)
    Contact.objects.update(email="")
    notice.contact.refresh_from_db()
    with pytest.raises(letters.CannotWrite):
        letters.stage_done(notice, None, NOW)
    Contact.objects.update(email="priya@client.example")
    notice.contact.refresh_from_db()
    actions.revoke_link(link, by=builders.lead(), now=NOW)
    with pytest.raises(letters.CannotWrite):
        letters.stage_done(notice, None, NOW)


def test_the_mail_has_text_first_then_html_with_its_picture(link: Link) -> None:
    picture = builders.jpeg()
    written = letters.stage_done(notice_of(link), picture, NOW)
    mail = parse(letters.as_mail(written, LETTER, NOW))
    assert [part.get_content_type() for part in mail.walk()] == [
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/jpeg",
    ]
    text, html, image = (part for part in mail.walk() if not part.is_multipart())
    assert text.get_content().replace("\r\n", "\n") == written.text
    sent = html.get_content().replace("\r\n", "\n")
    assert re.sub(r"cid:[^\"]+", "cid:picture", sent) == written.html
    assert image.get_content() == picture
    assert image.get_content_disposition() == "inline"
    content_id = image["Content-ID"]
    assert re.fullmatch(r"<picture\.[0-9a-f-]{36}@127\.0\.0\.1>", content_id)  # RFC 2392: a msg-id
    assert f'src="cid:{content_id[1:-1]}"' in html.get_content()
    assert (
        next(part for part in mail.walk() if part.get_content_subtype() == "related").get_param("type") == "text/html"
    )


def test_its_headers(link: Link) -> None:
    """Auto-Submitted: RFC 3834, section 5. Message-ID in angle brackets with one @: RFC 5322, section 3.6.4."""
    Studio.objects.update(name="Bodkin Yard")
    with override_settings(ADDRESS="https://yard.example:8443", LETTERS_FROM="post@bodkinyard.example"):
        mail = parse(letters.as_mail(letters.stage_done(notice_of(link), None, NOW), LETTER, NOW))
    assert mail["Message-ID"] == f"<{LETTER}@bodkinyard.example>"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["From"] == "Bodkin Yard <post@bodkinyard.example>"
    assert mail["To"] == "Priya <priya@client.example>"
    assert mail["Reply-To"] == "Ines <ines@bodkinyard.example>"
    assert mail["Date"].datetime == NOW


def sent_from(address: str, link: Link) -> EmailMessage:
    with override_settings(ADDRESS=address):
        return parse(letters.as_mail(letters.stage_done(notice_of(link), None, NOW), LETTER, NOW))


def test_letters_of_a_job_belong_together_and_those_of_another_do_not(link: Link) -> None:
    """References: RFC 5322, section 3.6.4, an identifier like that of Message-ID."""
    other = builders.link(builders.job("Ammonite", client="Harbour Museum"), "Lena")
    notice = notice_of(link)
    first, again, another = (
        letters.as_mail(letters.stage_done(notice, None, NOW), uuid4(), NOW)["References"]
        for notice in (notice, notice, notice_of(other))
    )
    assert re.fullmatch(r"<[0-9a-f-]{36}@127\.0\.0\.1>", first)
    assert first == again != another


def test_its_reader_ends_them_with_one_click(link: Link) -> None:
    """RFC 8058, section 3.1: one https address in List-Unsubscribe, and List-Unsubscribe-Post with exactly this value;
    section 8.1 shows the pair. RFC 2369, section 2: the address stands in angle brackets."""
    mail = sent_from("https://yard.example", link)
    assert mail["List-Unsubscribe"].strip() == f"<https://yard.example/letterbox/stop/{stop_token(link)}/>"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    read = fast_mail_parser.parse_email(mail.as_bytes()).headers
    assert [[value.strip() for value in read[name]] for name in ("List-Unsubscribe", "List-Unsubscribe-Post")] == [
        [mail["List-Unsubscribe"].strip()],
        ["List-Unsubscribe=One-Click"],
    ]
    for header in ("List-Unsubscribe", "List-Unsubscribe-Post"):
        lines = [line for line in mail.as_bytes().splitlines() if line.partition(b":")[0] == header.encode()]
        assert len(lines) == 1


def test_without_https_there_is_no_one_click(link: Link) -> None:
    """RFC 8058, section 3.1 allows it for https alone; RFC 2369 any address."""
    mail = sent_from("http://yard.local:8000", link)
    assert mail["List-Unsubscribe"].strip() == f"<http://yard.local:8000/letterbox/stop/{stop_token(link)}/>"
    assert mail["List-Unsubscribe-Post"] is None


def stop_token(link: Link) -> str:
    return links.stop_address_for(link).split("/")[-2]


def test_it_goes_as_plain_ascii_in_short_lines(link: Link) -> None:
    """RFC 5321, section 2.4 and RFC 5322, section 2.1.1: any server takes it, with no extension."""
    notice = notice_of(link, photo=True, sentence="Ünlike, 6 × 7. " + "ä" * 200)
    raw = letters.as_mail(letters.stage_done(notice, builders.jpeg(), NOW), LETTER, NOW).as_bytes()
    assert raw.isascii()
    assert max(map(len, raw.split(b"\r\n"))) <= 998
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert b"\r" not in raw.replace(b"\r\n", b"")


def test_another_parser_reads_the_same_letter(link: Link) -> None:
    """fast-mail-parser, over the mailparse crate: RFC 5322, 2045, 2046 and 2047 by another hand."""
    picture = builders.jpeg()
    Studio.objects.update(name="Bödkin Yard")
    notice = notice_of(link, photo=True, sentence="Ünlike. 6 × 7.")
    notice.contact.name = "Zoë Ångström"
    written = letters.stage_done(notice, picture, NOW)
    read = fast_mail_parser.parse_email(letters.as_mail(written, LETTER, NOW).as_bytes())
    assert read.subject == written.subject
    assert read.headers["From"] == ["Bödkin Yard <letters@127.0.0.1>"]
    assert read.headers["To"] == ["Zoë Ångström <priya@client.example>"]
    assert read.headers["Message-ID"] == [f"<{LETTER}@127.0.0.1>"]
    assert [part.replace("\r\n", "\n").rstrip("\n") for part in read.text_plain] == [written.text.rstrip("\n")]
    (html,) = (part.replace("\r\n", "\n").rstrip("\n") for part in read.text_html)
    assert re.sub(r"cid:[^\"]+", "cid:picture", html) == written.html.rstrip("\n")
    (image,) = read.attachments
    assert (image.mimetype, image.content) == ("image/jpeg", picture)


def test_a_link_that_opens_no_more_is_not_sent(link: Link) -> None:
    notice = notice_of(link)
    Link.objects.update(expires_on=NOW.date() - timedelta(days=1))
    with pytest.raises(letters.CannotWrite, match="no link that opens any more"):
        letters.stage_done(notice, None, NOW)


@pytest.mark.parametrize("newline", ["\r\n", "\n", "\r", "\u2028", "\x0b", "\x85"])
def test_a_name_cannot_smuggle_in_a_header(link: Link, newline: str) -> None:
    smuggled = f"{newline}Bcc: x@y.example"
    Studio.objects.update(name=f"Bodkin{smuggled}")
    Job.objects.update(name=f"Can{smuggled}")
    notice = notice_of(link)
    notice.contact.name = f"Priya{smuggled}"
    notice.job.refresh_from_db()
    mail = parse(letters.as_mail(letters.stage_done(notice, None, NOW), LETTER, NOW))
    assert mail.get_all("Bcc") is None
    assert len(mail.get_all("To", [])) == 1
    assert [address.addr_spec for address in mail["To"].addresses] == ["priya@client.example"]
    assert len(mail["From"].addresses) == 1
    assert "\n" not in mail["Subject"]


@pytest.mark.parametrize(
    "name",
    ["Priya, Tom", '"Priya" <x@y.example>', "Pri@ya", "Zoë Ångström", "李", "", "a" * 80, "=?utf-8?q?x?=", "(x)", "\\"],
)
def test_a_name_is_one_name_however_it_is_written(link: Link, name: str) -> None:
    mail = parse(letters.as_mail(written_to(name), LETTER, NOW))
    assert [address.addr_spec for address in mail["To"].addresses] == ["priya@client.example"]


@pytest.mark.parametrize(
    "address",
    [
        "",
        "nobody",
        "a@b.example, c@d.example",
        "a@b.example\r\nBcc: x@y.example",
        "a b@c.example",
        "<a@b.example>",
        "ä@b.example",
    ],
)
def test_an_address_that_cannot_be_used_is_said_and_not_sent(link: Link, address: str) -> None:
    with pytest.raises(letters.CannotWrite, match="e-mail address of Priya"):
        letters.as_mail(written_to(address=address), LETTER, NOW)


def test_through_the_outbox_and_back_with_a_picture_of_sixty_kilobytes_at_most() -> None:
    link = builders.link(builders.job())
    notice = notice_of(link)
    builders.work()
    entry = builders.log_done(builders.stage(link.job, "mould"), content=busy(), sentence="Ünlike. 6 × 7.")
    builders.work(NOW + timedelta(hours=1))
    letter = Notice.objects.get(entry=entry).letter
    read = letters.read_outbox(letter.pk)
    assert read.picture is not None
    assert len(read.picture) <= MOST_PICTURE_BYTES
    with Image.open(BytesIO(read.picture)) as image:
        assert image.width >= 240
        assert not image.getexif()
    assert "Ünlike. 6 × 7." in read.text
    assert read.to_address == notice.contact.email


def test_writing_it_twice_is_one_file(link: Link) -> None:
    mail, name = letters.as_mail(written_to(), LETTER, NOW), uuid4()
    outbox.put(mail, name)
    outbox.put(mail, name)
    assert [path.name for path in outbox.path(name).parent.iterdir()] == [f"{name}.eml"]
    assert outbox.path(name).stat().st_mode & 0o777 == 0o600


def stuck(needs: Needs = Needs.MATERIAL, sentence: str = "") -> Stuck:
    """On the last of several pieces, with names of several words."""
    job = builders.job("Leaning lamp post")
    stage = builders.stage(job, "lay-up")
    stage.piece.name, stage.title = "Lantern that swings", "second coat"
    stage.piece.save()
    stage.save()
    return builders.say_stuck(stage, needs, sentence=sentence).stuck


@pytest.mark.parametrize(
    ("needs", "words"),
    [
        (Needs.HAND, "It needs a hand."),
        (Needs.MATERIAL, "Material is missing."),
        (Needs.ANSWER, "It needs an answer."),
        (Needs.BROKE, "Something broke."),
    ],
)
def test_word_to_a_lead_says_who_where_and_what_of(needs: Needs, words: str) -> None:
    told = stuck(needs, "Is the <grey> one & its tin right?")
    written = letters.something_stuck(told, builders.lead())
    assert written.subject == "Stuck: Lantern that swings, lay-up, second coat"
    assert (written.to_name, written.to_address, written.picture) == ("Ines", "ines@bodkinyard.example", None)
    for part in (" ".join(written.text.split()), read_aloud(written.html)):
        assert "Hello Ines," in part
        assert "Ada is stuck at Lantern that swings, lay-up, second coat (Leaning lamp post)." in part
        assert words in part
        assert "“Is the <grey> one & its tin right?”" in part
        assert len(part.split()) <= MOST_WORDS
    assert "<grey>" not in written.html


def test_word_to_a_lead_has_one_link_and_quotes_nothing_where_nothing_was_written() -> None:
    told = stuck()
    with override_settings(ADDRESS="https://bodkinyard.example"):
        written = letters.something_stuck(told, builders.lead())
        mail = parse(letters.as_mail(written, LETTER, NOW))
    address = f"https://bodkinyard.example/office/stuck/{told.pk}/"
    assert address in written.text.splitlines()
    assert written.text.count("http") == 1
    assert re.findall(r'href="([^"]+)"', written.html) == [address]
    assert "“" not in written.text + written.html
    assert 'lang="en-gb"' in written.html
    assert [part.get_content_type() for part in mail.walk()] == ["multipart/alternative", "text/plain", "text/html"]


def test_no_word_goes_to_a_lead_without_an_address() -> None:
    told, lead = stuck(), builders.lead()
    lead.email = ""
    with pytest.raises(letters.CannotWrite, match="Ines has no e-mail address"):
        letters.something_stuck(told, lead)
