"""Pictures for tests, made on the spot: as cameras and phones write them, and as nobody should send them."""

import io
import struct
import zlib

from PIL import Image

ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825  # tags of Exif (CIPA DC-008)


def drawn(width: int = 64, height: int = 48, mode: str = "RGB") -> Image.Image:
    """A picture whose left half is light and whose right half is dark."""
    image = Image.new(mode, (width, height), "white")
    image.paste("black", (width // 2, 0, width, height))
    return image


def as_bytes(image: Image.Image, kind: str = "JPEG", **options) -> bytes:
    """The picture as a file."""
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def jpeg(width: int = 64, height: int = 48, **options) -> bytes:
    return as_bytes(drawn(width, height), **options)


def from_a_phone(orientation: int = 6) -> bytes:
    """A JPEG with everything a phone adds: the camera, the place, a comment, XMP, a colour profile, turned by a tag."""
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif[MAKE] = "Secretphone"
    exif.get_ifd(GPS)[1] = "N"
    exif.get_ifd(GPS)[2] = (51.0, 30.0, 26.0)
    return jpeg(
        exif=exif, comment=b"Secretcomment", xmp=b"<x:xmpmeta>Secretxmp</x:xmpmeta>", icc_profile=b"Secretprofile"
    )


def moving(kind: str) -> bytes:
    """An animation of two frames."""
    return as_bytes(drawn(), kind, save_all=True, append_images=[Image.new("RGB", (64, 48), "red")], duration=100)


def png_bomb(width: int = 10_000, height: int = 10_000) -> bytes:
    """A PNG of 100 million white pixels in about 100 kB: grey, one byte each, every line the same."""
    packer = zlib.compressobj(9)
    line = b"\0" + b"\xff" * width
    data = b"".join(packer.compress(line) for _ in range(height)) + packer.flush()
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + _chunk(b"IDAT", data) + _chunk(b"IEND", b"")


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


SVG = b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><script>alert(1)</script></svg>'
