"""Reaches the mail server. A letter carries no name and no clinical word: who may see more sees it in the service."""

from uuid import NAMESPACE_URL, uuid5

from django.conf import settings
from django.core.mail import EmailMessage

CAUTION = "This is an automatic message. Nobody will ever ask you for your PIN, your password or a code."


def works() -> bool:
    """Whether mail is set up here at all."""
    return not settings.EMAIL_BACKEND.endswith("dummy.EmailBackend")


def send(*, to: str, subject: str, text: str, about: str) -> None:
    """Send one letter. A second one about the same thing carries the same Message-ID, so that it is seen to be one."""
    host = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].rstrip(">")
    headers = {
        "Message-ID": f"<{uuid5(NAMESPACE_URL, about)}@{host}>",
        "Auto-Submitted": "auto-generated",  # RFC 3834, section 5: no out-of-office answers
    }
    EmailMessage(subject=subject, body=f"{text}\n\n{CAUTION}\n", to=[to], headers=headers).send()
