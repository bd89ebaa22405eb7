"""What comes in as a picture and what is kept of it: pixels, upright, small, and nothing else."""

import io
import resource
import time

import pytest
from PIL import Image

from tests import pictures
from tracker.actions.pictures import LONG_EDGE, encoded_anew
from tracker.actions.release_refusals import PhotoRefused, PhotoTooLarge


def opened(content: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(content))
    image.load()
    return image


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_three_formats_are_taken_and_kept_as_jpeg(kind):
    kept = encoded_anew(pictures.as_bytes(pictures.drawn(), kind))
    assert (opened(kept.content).format, kept.width, kept.height) == ("JPEG", 64, 48)


@pytest.mark.parametrize("kind", ["GIF", "TIFF", "BMP", "PPM", "ICO", "PDF"])
def test_other_formats_are_refused(kind):
    with pytest.raises(PhotoRefused, match="cannot be read as a photo"):
        encoded_anew(pictures.as_bytes(pictures.drawn(), kind))


@pytest.mark.parametrize(
    "content",
    [b"", b"Dear workshop,\n", pictures.SVG, b"%!PS-Adobe", b"\xff\xd8\xff", b"RIFF\0\0\0\0WEBP", b"\0" * 5000],
)
def test_what_is_no_picture_is_refused(content):
    with pytest.raises(PhotoRefused) as refusal:
        encoded_anew(content)
    assert (refusal.value.field, bool(refusal.value.remedy)) == ("file", True)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
def test_a_picture_cut_short_is_refused(kind, share):
    whole = pictures.as_bytes(Image.effect_noise((300, 200), 80).convert("RGB"), kind)
    with pytest.raises(PhotoRefused):
        encoded_anew(whole[: int(len(whole) * share)])


@pytest.mark.parametrize("kind", ["WEBP", "PNG"])
def test_moving_pictures_are_refused(kind):
    with pytest.raises(PhotoRefused, match="moving"):
        encoded_anew(pictures.moving(kind))


def test_two_pictures_in_one_jpeg_as_phones_write_them_are_one(now):
    both = pictures.as_bytes(pictures.drawn(), "MPO", save_all=True, append_images=[pictures.drawn(8, 8)])
    assert Image.open(io.BytesIO(both)).format == "MPO"
    assert encoded_anew(both).width == 64


def test_nothing_of_the_metadata_stays():
    content = pictures.from_a_phone()
    assert b"Secretphone" in content
    kept = encoded_anew(content)
    assert b"Secret" not in kept.content
    image = opened(kept.content)
    assert dict(image.getexif()) == {}
    assert dict(image.getexif().get_ifd(pictures.GPS)) == {}
    assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_texts_in_a_png_do_not_stay():
    from PIL.PngImagePlugin import PngInfo

    told = PngInfo()
    told.add_text("Author", "Secretname")
    kept = encoded_anew(pictures.as_bytes(pictures.drawn(), "PNG", pnginfo=told))
    assert b"Secretname" not in kept.content


def test_a_picture_is_turned_upright_as_its_camera_was_held():
    kept = encoded_anew(pictures.from_a_phone(orientation=6))  # 6: the top of the scene is on the right (Exif)
    image = opened(kept.content)
    assert (kept.width, kept.height) == (48, 64)
    assert image.getpixel((24, 4))[0] > 200  # light above
    assert image.getpixel((24, 60))[0] < 60  # dark below


@pytest.mark.parametrize(("width", "height"), [(4000, 3000), (3000, 4000), (5000, 100)])
def test_a_large_picture_is_made_smaller(width, height):
    kept = encoded_anew(pictures.jpeg(width, height))
    assert max(kept.width, kept.height) == LONG_EDGE
    assert kept.width / kept.height == pytest.approx(width / height, rel=0.03)


def test_a_small_picture_keeps_its_size():
    assert encoded_anew(pictures.jpeg(LONG_EDGE, 10)).width == LONG_EDGE


@pytest.mark.parametrize("mode", ["L", "RGBA", "LA", "P", "CMYK", "1"])
def test_any_kind_of_pixels_is_kept(mode):
    kind = "JPEG" if mode in {"L", "CMYK"} else "PNG"
    kept = encoded_anew(pictures.as_bytes(pictures.drawn().convert(mode), kind))
    assert opened(kept.content).getpixel((4, 4))[0] > 200


def test_sixteen_bit_grey_is_kept():
    grey = Image.new("I;16", (20, 20), 65_535)
    assert opened(encoded_anew(pictures.as_bytes(grey, "PNG")).content).getpixel((4, 4))[0] > 200


def test_what_is_seen_through_stands_on_white():
    clear = Image.new("RGBA", (20, 20), (0, 0, 0, 0))
    assert opened(encoded_anew(pictures.as_bytes(clear, "PNG")).content).getpixel((4, 4)) == (255, 255, 255)


def test_a_bomb_of_a_hundred_million_pixels_is_refused_unpacked():
    bomb = pictures.png_bomb()
    assert len(bomb) < 200_000
    begun, before = time.monotonic(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(PhotoTooLarge, match="40 million pixels"):
        encoded_anew(bomb)
    assert time.monotonic() - begun < 1
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 20_000  # kB: nothing was unpacked


def test_a_bomb_beyond_what_the_library_itself_refuses():
    with pytest.raises(PhotoTooLarge):
        encoded_anew(pictures.png_bomb(20_000, 20_000))


def test_just_over_the_limit_of_pixels_is_refused():
    with pytest.raises(PhotoTooLarge):
        encoded_anew(pictures.png_bomb(8_001, 5_000))


def test_a_file_too_large_is_refused_before_it_is_looked_at(settings):
    settings.PHOTO_MAX_BYTES = 1000
    with pytest.raises(PhotoTooLarge, match="MB fit"):
        encoded_anew(b"x" * 1001)


def test_the_same_picture_becomes_the_same_file():
    content = pictures.from_a_phone()
    assert encoded_anew(content).sha256 == encoded_anew(content).sha256
