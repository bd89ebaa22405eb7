"""What a ride file is refused for, besides what tracker/confined.py says of any file and services/rides.py of the ride."""

from services.language import marked
from tracker.confined import FileRefused

(SAVE_AGAIN,) = marked(("Save the ride again from where it was recorded, as GPX or FIT.",))


class NotARideFile(FileRefused):
    """Neither GPX nor FIT, or damaged."""

    code = "not-a-ride-file"


class UnsafeRideFile(FileRefused):
    """XML that defines entities, or a packed file."""

    code = "unsafe-ride-file"


class RideReaderBusy(FileRefused):
    """Other ride files are being read at the moment."""

    code = "ride-reader-busy"
    status = "conflict"
