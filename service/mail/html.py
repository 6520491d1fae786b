"""The HTML part: complete by itself, on a phone, in dark mode and with pictures blocked."""

from service.charts.look import ACCENT, INK, PAPER
from service.mail.digest import Digest
from service.mail.opening import MARKS, READING, asking, lists_of, subject_of, summary_of, title_of
from service.notices.letter import letters
from service.words import CAUTION


def html_of(digest: Digest, picture_ids: tuple[str | None, ...]) -> str:
    """Write a week's mail as HTML; `picture_ids` are the content ids of the visits' pictures."""
    return (
        letters("service.mail")
        .get_template("weekly.html.j2")
        .render(
            subject=subject_of(digest),
            title=title_of(digest),
            summary=summary_of(digest),
            asking=asking(digest),
            is_quiet=digest.is_quiet,
            visits=tuple(zip(digest.visits, picture_ids, strict=True)),
            lists=lists_of(digest),
            marks=MARKS,
            caution=CAUTION,
            reading=READING,
            paper=PAPER,
            ink=INK,
            accent=ACCENT,
        )
    )
