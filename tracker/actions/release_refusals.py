"""What is refused about release, photos and summaries, in words."""

from typing import Any, NamedTuple

from tracker.actions.refusals import Conflict, Invalid


class LineProblem(NamedTuple):
    """What is wrong with one line of the checklist."""

    name: str
    code: str
    message: str


class ReleaseMissing(Invalid):
    """The work on this card demands a test ride and a release, and nobody has signed it for all of that work."""

    code = "release-missing"


class AlreadyReleased(Conflict):
    """The release is signed and covers all of the work."""

    code = "already-released"


class _OfLines(Invalid):
    """Lines of the checklist, each with what is wrong."""

    def __init__(self, message: str, *, problems: list[LineProblem], **rest: Any) -> None:
        super().__init__(message, field="answers", problems=[problem._asdict() for problem in problems], **rest)
        self.problems = problems


class ReleaseIncomplete(_OfLines):
    """Every line of the release checklist needs its answer, and no other line takes one."""

    code = "release-incomplete"


class ReleaseFailed(_OfLines):
    """A line of the release checklist did not pass, so nothing is released."""

    code = "release-failed"


class PhotoRefused(Invalid):
    """The file is no photo the workshop keeps: JPEG, PNG or WebP, one still picture, readable to its end."""

    code = "photo-refused"


class PhotoTooLarge(Invalid):
    """The photo has too many bytes or too many pixels."""

    code = "photo-too-large"


class TooManyPhotos(Conflict):
    """The card holds as many photos as it may."""

    code = "too-many-photos"


class NoAddress(Conflict):
    """There is nobody to mail to: no owner, no mail address, or one that is known dead."""

    code = "no-address"
