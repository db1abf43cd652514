"""Photographs of setups, made fit to be handed on: small, and without anything but the picture.

A run sheet names photographs relative to itself.  Only files inside its folder are opened, by
their true place, so that neither ".." nor a link leads out.  What is kept are the pixels:
position, time, camera and serial number, thumbnails and comments are not written again.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath

from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError

from fieldaero.basics.errors import RunSheetError
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond

__all__ = ["LARGEST_MB", "LARGEST_MEGAPIXELS", "LONGEST_SIDE", "Photo", "photo"]

LARGEST_MB = 40.0
LARGEST_MEGAPIXELS = 80.0  # a file of a few kilobytes can claim a picture of gigabytes
LONGEST_SIDE = 1200  # pixels
QUALITY = 82  # of JPEG, 0 to 95
FORMATS = ("JPEG", "PNG", "WEBP")
KINDS = "JPEG, PNG or WebP"


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A picture as JPEG without metadata; width and height in pixels."""

    name: str
    jpeg: bytes
    width: int
    height: int


def photo(folder: Path, name: str) -> Photo:
    """Read, scale and clean a photograph.

    The name is as in the run sheet, relative to its folder; a place outside the folder is an error.
    """
    path = _inside(folder, name)
    try:
        size_mb = path.stat().st_size / 1e6
        if beyond(size_mb, LARGEST_MB):
            raise RunSheetError(
                f"photo {name}: has {size_mb:.0f} MB; allowed are {LARGEST_MB:.0f} MB. Save a smaller copy, "
                f"or {HOW_TO_LIFT}"
            )
        content = path.read_bytes()
    except OSError as problem:
        raise RunSheetError(
            f"photo {name}: cannot be read ({problem.strerror or 'unreadable'}); put it beside the run sheet, or take "
            "its name out"
        ) from None
    return _cleaned(content, name)


def _inside(folder: Path, name: str) -> Path:
    pieces = PurePosixPath(name.replace("\\", "/")).parts
    absolute = PurePosixPath(name).is_absolute() or bool(PureWindowsPath(name).drive)
    if absolute or ".." in pieces or "\0" in name:
        raise _outside(name)
    path = folder.joinpath(*pieces)
    try:
        real, home = path.resolve(), folder.resolve()
    except (OSError, RuntimeError):  # links that go round in circles
        raise _outside(name) from None
    if not real.is_relative_to(home):
        raise _outside(name)
    if not real.is_file():
        raise RunSheetError(f"photo {name}: there is no such file beside the run sheet; mend its name or take it out")
    return real


def _outside(name: str) -> RunSheetError:
    return RunSheetError(
        f"photo {name}: lies outside the run sheet's folder; copy it there: allowed are files in that folder and below"
    )


def _cleaned(content: bytes, name: str) -> Photo:
    try:
        with warnings.catch_warnings(), _whole_files_only():
            warnings.simplefilter("ignore")  # about sizes and odd metadata, which are dealt with here
            with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
                _refuse_giants(picture.width, picture.height, name)
                picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
                upright = ImageOps.exif_transpose(picture)
                upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
                clean = _on_white(upright)
    except Image.DecompressionBombError:
        raise RunSheetError(
            f"photo {name}: has far more than {LARGEST_MEGAPIXELS:.0f} megapixels; save a smaller copy"
        ) from None
    except UnidentifiedImageError:
        raise RunSheetError(f"photo {name}: is no {KINDS} picture; save it as one of these") from None
    except (OSError, SyntaxError, ValueError, EOFError) as problem:  # damaged bytes raise all of these in a decoder
        raise RunSheetError(f"photo {name}: is damaged ({problem}); copy it from the camera again") from None
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Photo(name=name, jpeg=out.getvalue(), width=clean.width, height=clean.height)


@contextmanager
def _whole_files_only() -> Iterator[None]:
    """Refuse files that break off, whatever another library has set for the whole program."""
    before = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


def _refuse_giants(width: int, height: int, name: str) -> None:
    megapixels = width * height / 1e6
    if beyond(megapixels, LARGEST_MEGAPIXELS):
        raise RunSheetError(
            f"photo {name}: has {width} by {height} pixels, {megapixels:.0f} megapixels; allowed are "
            f"{LARGEST_MEGAPIXELS:.0f}. Save a smaller copy, "
            f"or {HOW_TO_LIFT}"
        )


def _on_white(picture: Image.Image) -> Image.Image:
    """Copy the pixels alone into a new picture; where it was clear, paper shows."""
    rgba = picture.convert("RGBA")
    paper = Image.new("RGB", rgba.size, "white")
    paper.paste(rgba, mask=rgba.getchannel("A"))
    return paper
