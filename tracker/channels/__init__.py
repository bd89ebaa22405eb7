"""The only code that talks to a mail server, and its stand-in that keeps letters as files."""

from django.conf import settings

from tracker.actions.posting import Channel
from tracker.channels.folder import FolderChannel
from tracker.channels.smtp import SmtpChannel


def chosen_channel() -> Channel:
    """Return the channel that the settings name: a real server, or the folder where none is named."""
    return SmtpChannel() if settings.MAIL_CHANNEL == "smtp" else FolderChannel(settings.MAIL_FOLDER)
