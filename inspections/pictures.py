"""Turns what somebody uploaded into a picture of our own, or refuses it. Touches no rows and no files.

The content decides, not the name or the declared type. A picture is decoded and written anew: that proves that it is
one, takes out whatever else the file carried (the place where it was taken is personal data) and bounds its size.
"""

from __future__ import annotations

import hashlib
import warnings
from dataclasses import dataclass
from io import BytesIO
from typing import ClassVar

from PIL import Image, ImageOps, UnidentifiedImageError

from fleet.errors import WarmgateError

MAX_BYTES = 8 * 1024 * 1024
MAX_PIXELS = 50_000_000
LONGEST_SIDE = 2048
QUALITY = 85
FORMATS = ("JPEG", "PNG", "WEBP")
_STARTS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF")


class NotAPhoto(WarmgateError):
    """The upload is not a picture this service takes."""

    code: ClassVar[str] = "not-a-photo"
    default_detail = "Send a JPEG, PNG or WebP picture."


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as it will be stored."""

    content: bytes
    sha256: str
    width_px: int
    height_px: int


def picture_of(upload: bytes) -> Picture:
    """The upload as a JPEG of at most 2048 px, upright, without metadata. *Raises* NotAPhoto."""
    if not upload.startswith(_STARTS):
        raise NotAPhoto
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(BytesIO(upload), formats=FORMATS) as opened:
                if opened.width * opened.height > MAX_PIXELS:
                    raise NotAPhoto(f"The picture has more than {MAX_PIXELS // 1_000_000} million pixels.")
                image = _upright(opened)
    except (UnidentifiedImageError, Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise NotAPhoto from error
    except (OSError, SyntaxError, ValueError) as error:  # what Pillow raises for files that are cut off or damaged
        raise NotAPhoto("The picture is damaged.") from error
    out = BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=True)
    content = out.getvalue()
    return Picture(content, hashlib.sha256(content).hexdigest(), image.width, image.height)


def _upright(opened: Image.Image) -> Image.Image:
    image = ImageOps.exif_transpose(opened)
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        layer = image.convert("RGBA")
        image = Image.new("RGB", layer.size, "white")
        image.paste(layer, mask=layer.getchannel("A"))
    return image.convert("RGB")
