"""Send letters."""

from __future__ import annotations

import logging
import smtplib
import threading

from django.conf import settings
from django.core.mail import EmailMessage

from labmatrix.web.domain.letters import Letter

logger = logging.getLogger(__name__)


def public_link(path: str) -> str:
    """An address of this installation as people type it; never from a request's own headers."""
    return f"{str(settings.PUBLIC_URL).rstrip('/')}{path}"


def letter_send(*, to: str, letter: Letter) -> bool:
    """Send a letter; False when the mail server does not take it, which the log then says."""
    try:
        return bool(EmailMessage(subject=letter.subject, body=letter.text, to=[to]).send())
    except (OSError, smtplib.SMTPException) as error:
        # Neither the text nor the address: the first holds a link, the second is a person's.
        logger.error("a letter was not sent: %s", type(error).__name__)  # noqa: TRY400
        return False


def letters_send_later(letters: list[tuple[str, Letter]]) -> threading.Thread:
    """Send letters beside the answer, so that its time does not tell whether there were any."""

    def send() -> None:
        for to, letter in letters:
            letter_send(to=to, letter=letter)

    thread = threading.Thread(target=send, name="letters")
    thread.start()
    return thread
