"""The only code that talks to a mail server or a webhook, and its stand-in that keeps letters as files."""

from django.conf import settings

from tracker.actions.posting import Channel
from tracker.channels.folder import FolderChannel
from tracker.channels.smtp import SmtpChannel
from tracker.channels.webhook import set_up_webhook


def chosen_channel() -> Channel:
    """Return the channel that the settings name: a webhook, a mail server, or the folder where neither is named."""
    if settings.MAIL_CHANNEL == "webhook":
        return set_up_webhook()
    return SmtpChannel() if settings.MAIL_CHANNEL == "smtp" else FolderChannel(settings.MAIL_FOLDER)
