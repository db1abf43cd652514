from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from fieldaero.basics.errors import RunSheetError
from fieldaero.publish import photos
from fieldaero.publish.photos import photo

ORIENTATION, MAKER, SERIAL, GPS = 0x0112, 0x010F, 0xA431, 0x8825
LATITUDE, LATITUDE_REF = 2, 1


def picture(width=64, height=48, mode="RGB"):
    pixels = np.random.default_rng(1).integers(0, 255, (height, width, 3), dtype=np.uint8)
    return Image.fromarray(pixels).convert(mode)


def with_position(path, *, orientation=1):
    """A photograph as a telephone writes it: place, maker and serial number in its EXIF data."""
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER], exif[SERIAL] = orientation, "Invented Cameras", "SERIAL-4711"
    exif[GPS] = {LATITUDE_REF: "N", LATITUDE: (47.0, 12.0, 33.0)}
    picture().save(path, exif=exif, comment=b"taken at home")
    return path


def test_only_the_picture_is_left(tmp_path):
    with_position(tmp_path / "bar.jpg")
    with Image.open(tmp_path / "bar.jpg") as before:
        assert before.getexif().get_ifd(GPS)
    clean = photo(tmp_path, "bar.jpg")
    read = Image.open(io.BytesIO(clean.jpeg))
    assert not read.getexif()
    assert set(read.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert b"SERIAL" not in clean.jpeg
    assert b"home" not in clean.jpeg
    assert b"Exif" not in clean.jpeg


def test_the_file_itself_is_left_alone(tmp_path):
    before = with_position(tmp_path / "bar.jpg").read_bytes()
    photo(tmp_path, "bar.jpg")
    assert (tmp_path / "bar.jpg").read_bytes() == before


def test_upright_although_what_says_so_is_taken_away(tmp_path):
    with_position(tmp_path / "bar.jpg", orientation=6)
    clean = photo(tmp_path, "bar.jpg")
    assert (clean.width, clean.height) == (48, 64)


def test_large_pictures_are_scaled_and_small_ones_are_not(tmp_path):
    picture(3000, 1500).save(tmp_path / "large.jpg")
    picture(60, 40).save(tmp_path / "small.png")
    large, small = photo(tmp_path, "large.jpg"), photo(tmp_path, "small.png")
    assert (large.width, large.height) == (photos.LONGEST_SIDE, photos.LONGEST_SIDE // 2)
    assert (small.width, small.height) == (60, 40)


@pytest.mark.parametrize("mode", ["L", "RGBA", "P", "1", "CMYK"])
def test_every_kind_of_colour_is_read(tmp_path, mode):
    ending = "jpg" if mode == "CMYK" else "png"
    picture(mode="RGB").convert(mode).save(tmp_path / f"bar.{ending}")
    assert photo(tmp_path, f"bar.{ending}").jpeg[:2] == b"\xff\xd8"


def test_where_a_picture_is_clear_paper_shows(tmp_path):
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(tmp_path / "clear.png")
    assert Image.open(io.BytesIO(photo(tmp_path, "clear.png").jpeg)).getpixel((4, 4)) == (255, 255, 255)


def test_folders_below_are_allowed_by_either_slash(tmp_path):
    (tmp_path / "shots").mkdir()
    picture().save(tmp_path / "shots" / "bar.png")
    assert photo(tmp_path, "shots/bar.png").jpeg == photo(tmp_path, "shots\\bar.png").jpeg


@pytest.mark.parametrize("name", ["../bar.png", "shots/../../bar.png", "..\\bar.png", "C:\\bar.png", "bar\0.png"])
def test_no_name_leads_out_of_the_folder(tmp_path, name):
    (tmp_path / "test" / "shots").mkdir(parents=True)
    picture().save(tmp_path / "bar.png")
    with pytest.raises(RunSheetError, match="outside the run sheet's folder"):
        photo(tmp_path / "test", name)


def test_no_absolute_name_and_no_link_leads_out_of_the_folder(tmp_path):
    home = tmp_path / "test"
    home.mkdir()
    picture().save(tmp_path / "bar.png")
    (home / "link.png").symlink_to(tmp_path / "bar.png")
    (home / "up").symlink_to(tmp_path)
    for name in (str(tmp_path / "bar.png"), "link.png", "up/bar.png"):
        with pytest.raises(RunSheetError, match="outside the run sheet's folder"):
            photo(home, name)


def test_a_link_within_the_folder_is_followed(tmp_path):
    picture().save(tmp_path / "bar.png")
    (tmp_path / "same.png").symlink_to(tmp_path / "bar.png")
    assert photo(tmp_path, "same.png").width == 64


def test_missing_broken_or_no_picture_is_named(tmp_path):
    (tmp_path / "words.jpg").write_text("not a picture")
    picture(400, 400).save(tmp_path / "whole.png")
    (tmp_path / "cut.png").write_bytes((tmp_path / "whole.png").read_bytes()[:3000])
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "folder.jpg").mkdir()
    for name, about in (
        ("none.jpg", "no such file"),
        ("words.jpg", "no JPEG, PNG or WebP picture"),
        ("empty.jpg", "no JPEG, PNG or WebP picture"),
        ("cut.png", "damaged"),
        ("folder.jpg", "no such file"),
    ):
        with pytest.raises(RunSheetError, match=about) as found:
            photo(tmp_path, name)
        assert f"photo {name}:" in str(found.value)


def test_a_file_of_100_mb_is_refused_unread_with_the_limit(tmp_path):
    with (tmp_path / "huge.jpg").open("wb") as out:
        out.truncate(100_000_000)
    with pytest.raises(RunSheetError, match=r"photo huge\.jpg: has 100 MB; allowed are 40 MB"):
        photo(tmp_path, "huge.jpg")


@pytest.mark.parametrize("side", [10_000, 30_000])
def test_a_small_file_that_claims_a_giant_picture_is_refused_before_it_is_unpacked(tmp_path, side):
    Image.new("1", (1, 1)).save(tmp_path / "bomb.png")
    content = bytearray((tmp_path / "bomb.png").read_bytes())
    content[16:24] = struct.pack(">II", side, side)  # width and height in the first chunk, and that chunk's check sum
    content[29:33] = struct.pack(">I", zlib.crc32(content[12:29]))
    (tmp_path / "bomb.png").write_bytes(content)
    with pytest.raises(RunSheetError, match="80"):
        photo(tmp_path, "bomb.png")


def test_other_formats_are_not_tried(tmp_path):
    picture().save(tmp_path / "bar.gif")
    with pytest.raises(RunSheetError, match="no JPEG, PNG or WebP picture"):
        photo(tmp_path, "bar.gif")
