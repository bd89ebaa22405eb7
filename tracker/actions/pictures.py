"""A picture as it comes in, made into one the workshop keeps: decoded, turned upright, made smaller, encoded anew.

What is decoded is trusted no further than that: only three formats, a bound on bytes before and on pixels before any is
unpacked, and of the file itself nothing stays, neither its name nor its metadata (place, time, camera, owner).
"""

import io
from dataclasses import dataclass
from hashlib import sha256

from django.conf import settings
from PIL import Image, ImageOps

from services.language import say
from tracker.actions.release_refusals import PhotoRefused, PhotoTooLarge

FORMATS = ("JPEG", "PNG", "WEBP")
MOVING = {"PNG", "WEBP"}  # a JPEG with several pictures is one picture with its preview, as some phones write it
HEIF = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}  # brands: ISO/IEC 23008-12
MOST_PIXELS = 40_000_000
LONG_EDGE = 2_400  # pixels
QUALITY = 85  # of JPEG: a scratch on a rotor still shows (common practice, no source)


@dataclass(frozen=True)
class Picture:
    """A picture encoded anew: a JPEG without any metadata."""

    content: bytes
    width: int
    height: int

    @property
    def sha256(self) -> str:
        """The hex SHA-256 of the content."""
        return sha256(self.content).hexdigest()


def encoded_anew(content: bytes, *, long_edge: int = LONG_EDGE) -> Picture:
    """Return the picture in `content` as the workshop keeps it, no longer than `long_edge` pixels.

    Raises PhotoRefused, PhotoTooLarge.
    """
    if len(content) > settings.PHOTO_MAX_BYTES:
        raise PhotoTooLarge(
            say("The file has {size:.1f} MB; {most:.0f} MB fit.", size=len(content) / 1e6, most=settings.PHOTO_MAX_BYTES / 1e6),
            field="file", remedy=say("Take the picture with a lower resolution."),
        )  # fmt: skip
    if content[4:8] == b"ftyp" and content[8:12] in HEIF:
        raise PhotoRefused(
            say("This is a picture in the HEIC format, which cannot be read here."), field="file",
            remedy=say("Set the phone's camera to JPEG (most compatible), or send a screenshot of the picture."),
        )  # fmt: skip
    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as image:
            _check(image)
            return _as_kept(_upright(image, long_edge))
    except (PhotoRefused, PhotoTooLarge):
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels() from error
    except Exception as error:  # decoders of broken files raise whatever they come upon
        raise PhotoRefused(
            say("This file cannot be read as a photo."), field="file",
            remedy=say("Send a JPEG, PNG or WebP picture; if it is one, take it or copy it again."),
        ) from error  # fmt: skip


def _check(image: Image.Image) -> None:
    if image.width * image.height > MOST_PIXELS:
        raise _too_many_pixels()
    if image.format in MOVING and getattr(image, "is_animated", False):
        raise PhotoRefused(say("This is a moving picture."), field="file", remedy=say("Send a still one."))


def _too_many_pixels() -> PhotoTooLarge:
    return PhotoTooLarge(
        say("The picture has more than {number} million pixels.", number=MOST_PIXELS // 1_000_000), field="file",
        remedy=say("Take it with a lower resolution."),
    )  # fmt: skip


def _upright(image: Image.Image, long_edge: int) -> Image.Image:
    """The picture unpacked, turned as its camera was held, no longer than the long edge."""
    image.draft("RGB", (long_edge, long_edge))  # a large JPEG is unpacked at half its size where that is enough
    image.load()
    turned = ImageOps.exif_transpose(image)
    turned.thumbnail((long_edge, long_edge), Image.Resampling.LANCZOS)
    return turned


def _as_kept(image: Image.Image) -> Picture:
    """The pixels alone on white ground, in a new JPEG: what else the file told stays behind."""
    clean = Image.new("RGB", image.size, "white")
    if image.has_transparency_data:
        see_through = image.convert("RGBA")
        clean.paste(see_through, mask=see_through.getchannel("A"))
    else:
        clean.paste(image.convert("RGB"))
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Picture(out.getvalue(), clean.width, clean.height)
