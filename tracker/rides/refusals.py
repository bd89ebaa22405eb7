"""What a ride file is refused for, besides what services/rides.py says of the ride in it."""

from services.rides import RideRefused


class EmptyRideFile(RideRefused):
    """The file has no bytes."""

    code = "ride-file-empty"


class RideFileTooLarge(RideRefused):
    """More bytes or points than the limit, or more work than it is worth."""

    code = "ride-file-too-large"


class NotARideFile(RideRefused):
    """Neither GPX nor FIT, or damaged."""

    code = "not-a-ride-file"


class UnsafeRideFile(RideRefused):
    """XML that defines entities, or a packed file."""

    code = "unsafe-ride-file"


class RideReaderBusy(RideRefused):
    """Other ride files are being read at the moment."""

    code = "ride-reader-busy"
    status = "conflict"
