"""Photographs: drawn anew, upright, without place or camera; bombs and what is no picture are refused."""

import io
import struct
import zlib

import pytest
from PIL import Image

from stock import photos
from stock.photos import PhotoRefused, read_photo

GPS, ORIENTATION, MODEL = 0x8825, 0x0112, 0x0110


def drawn(size=(200, 120), form="JPEG", mode="RGB", **saved):
    picture = Image.new(mode, size, "red" if mode == "RGB" else None)
    if mode == "RGB":
        picture.paste("blue", (0, 0, size[0] // 2, size[1]))
    written = io.BytesIO()
    picture.save(written, form, **saved)
    return written.getvalue()


def test_place_and_camera_do_not_come_along():
    exif = Image.Exif()
    exif[MODEL] = "PHONE-OF-PAT"
    exif.get_ifd(GPS)[2] = (30.0, 12.0, 5.0)
    came = drawn(exif=exif, comment=b"SECRET-PLACE", icc_profile=b"x" * 500)
    assert b"PHONE-OF-PAT" in came
    photo = read_photo(came)
    for kept in (photo.content, photo.small):
        opened = Image.open(io.BytesIO(kept))
        assert not opened.getexif()
        assert "icc_profile" not in opened.info
        assert not [word for word in (b"PHONE-OF-PAT", b"SECRET-PLACE", b"Exif") if word in kept]


def test_it_is_turned_upright():
    """Orientation 6 of Exif 2.3: the camera was turned, the first row is the right-hand side."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    photo = read_photo(drawn(exif=exif))
    assert (photo.width, photo.height) == (120, 200)
    red, _, blue = Image.open(io.BytesIO(photo.content)).getpixel((60, 10))
    assert blue > 200 > red


@pytest.mark.parametrize("broken", ["010F 0005", "A005 0001", "011A 0002"])
def test_a_note_that_cannot_be_written_again_spoils_no_picture(broken):
    """The maker as a fraction, a folder as one byte, a resolution as words: cameras write such (Exif 2.3, 4.6.2)."""
    exif = bytes.fromhex(
        f"457869660000 4D4D002A00000008 0002 0112 0003 00000001 00060000 {broken} 00000001 00000008 00000000"
    )
    photo = read_photo(drawn(exif=exif))
    assert (photo.width, photo.height) == (120, 200)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_large_pictures_come_smaller(form):
    photo = read_photo(drawn((2400, 1000), form))
    assert (photo.width, photo.height) == (1600, 667)
    assert Image.open(io.BytesIO(photo.small)).size == (480, 200)
    assert Image.open(io.BytesIO(photo.content)).format == "JPEG"


def test_what_is_clear_becomes_white():
    photo = read_photo(drawn(mode="RGBA", form="PNG"))
    assert min(Image.open(io.BytesIO(photo.content)).getpixel((5, 5))) > 250


def bomb(side):
    """A PNG of a few kilobytes that says it is `side` by `side` pixels."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    body = zlib.compress(b"\x00" * 100_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"not a picture", "no JPEG, PNG or WebP"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "no JPEG, PNG or WebP"),
        (drawn(form="GIF"), "no JPEG, PNG or WebP"),
        (drawn(form="TIFF"), "no JPEG, PNG or WebP"),
        (drawn()[:600], "damaged"),
        (drawn(form="PNG")[:120], "damaged"),
        (bomb(9_000), "60 million pixels"),
        (bomb(60_000), "60 million pixels"),
        (drawn((39, 200)), "39 by 200 pixels"),
        (b"\xff\xd8\xff" + b"x" * photos.MOST_BYTES, "15 MB is the most"),
    ],
)
def test_what_is_no_photograph_is_refused_in_a_sentence(content, says):
    with pytest.raises(PhotoRefused, match=says):
        read_photo(content)


def test_a_picture_is_kept_once_under_its_own_sum(tmp_path):
    photo = read_photo(drawn())
    photos.keep(photo, tmp_path)
    photos.keep(photo, tmp_path)
    assert photos.kept_names(tmp_path) == [photo.name]
    file = photos.kept_file(tmp_path, photo.name)
    assert file.read_bytes() == photo.content
    assert photos.is_sound(file)
    assert photos.kept_file(tmp_path, photo.name, small=True).read_bytes() == photo.small
    file.write_bytes(photo.content[:-1])
    assert not photos.is_sound(file)


@pytest.mark.parametrize("name", ["", "../secret_key", "a" * 63, "A" * 64, "a" * 64, "a" * 64 + "\n"])
def test_no_other_file_is_found(name, tmp_path):
    assert photos.kept_file(tmp_path, name) is None
