"""Opens a ride file by what it contains, never by its name."""

from services.language import marked, say
from services.rides import Ride
from tracker.confined import check_size
from tracker.rides.limits import MAX_BYTES
from tracker.rides.refusals import NotARideFile, UnsafeRideFile

PACKED = (b"PK", b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"7z\xbc\xaf")
FIT_MARK = slice(8, 12)  # of the header (FIT protocol)
XML_BEGINS = (b"<", b"\xff\xfe", b"\xfe\xff")  # UTF-8 and its like, or UTF-16 with its byte order mark
UTF8_MARK = b"\xef\xbb\xbf"
CHOOSE_ONE, ONE_AT_A_TIME = marked((
    "Choose the file of a ride, GPX or FIT.", "Send one ride at a time, or type what the odometer shows.",
))  # fmt: skip


def check_ride_size(content: bytes) -> None:
    """Refuse a file of no bytes or too many. Raises: EmptyFile, FileTooLarge."""
    check_size(content, MAX_BYTES, if_empty=say(CHOOSE_ONE), if_large=say(ONE_AT_A_TIME))


def check_kind(content: bytes) -> str:
    """Return 'gpx' or 'fit'. Raises: NotARideFile, UnsafeRideFile."""
    if content.startswith(PACKED):
        raise UnsafeRideFile(
            say("The file is packed."), field="file", remedy=say("Unpack it and send the GPX or FIT file inside.")
        )
    if content[FIT_MARK] == b".FIT":
        return "fit"
    if content.removeprefix(UTF8_MARK).lstrip().startswith(XML_BEGINS):
        return "gpx"
    raise NotARideFile(say("This is neither a GPX nor a FIT file."), field="file", remedy=say(CHOOSE_ONE))


def open_ride(content: bytes) -> Ride:
    """Return the ride in a file. For a process of its own, see child.py. Raises: a kind of FileRefused or RideRefused."""
    check_ride_size(content)
    if check_kind(content) == "fit":
        from tracker.rides.fit_file import read_fit

        return read_fit(content)
    from tracker.rides.gpx_file import read_gpx

    return read_gpx(content)
