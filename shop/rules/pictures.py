"""Which pictures are kept, and as what: decided by their content, never by a name."""

import io
import threading
import warnings

from django.conf import settings
from django.utils.translation import gettext as _

from shop.ledger import Refused
from shop.numeric.units import BYTES_PER_MB

PIXELS_MOST = 40_000_000
SIDE = 1600
QUALITY = 82
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
# A large photo takes some hundred megabytes to decode: one at a time.
_one_at_a_time = threading.Lock()


def encode_photo(content: bytes) -> tuple[bytes, int, int]:
    """Return (JPEG, width, height): upright, at most 1600 px, nothing but the picture.

    The content decides what a file is, never its name. Raises Refused with the reason
    for anything but one still picture that can be read to its end.
    """
    if len(content) > settings.PHOTO_LIMIT_BYTES:
        limit = settings.PHOTO_LIMIT_BYTES // BYTES_PER_MB
        raise Refused(
            _("A photo may have %(limit)s MB.") % {"limit": limit}, field="file"
        )
    from PIL import Image, UnidentifiedImageError  # noqa: PLC0415 -- slow to import
    from pillow_heif import register_heif_opener  # noqa: PLC0415 -- slow to import

    register_heif_opener()
    with _one_at_a_time, warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            return _encode(Image, content)
        except (Image.DecompressionBombError, Image.DecompressionBombWarning):
            raise Refused(
                _("The picture is too large to open."), field="file"
            ) from None
        except UnidentifiedImageError:
            message = _("This is no JPEG, PNG, WebP or HEIC picture.")
            raise Refused(message, field="file") from None
        except (OSError, SyntaxError, ValueError, EOFError):
            message = _("The picture is damaged: it cannot be read to its end.")
            raise Refused(message, field="file") from None


def _encode(image_module, content: bytes) -> tuple[bytes, int, int]:
    from PIL import ImageOps  # noqa: PLC0415 -- slow to import

    with image_module.open(io.BytesIO(content), formats=FORMATS) as picture:
        if picture.width * picture.height > PIXELS_MOST:
            raise Refused(_("The picture has too many pixels."), field="file")
        if getattr(picture, "n_frames", 1) > 1:
            raise Refused(_("The picture moves: send a still one."), field="file")
        picture.draft("RGB", (SIDE, SIDE))
        upright = ImageOps.exif_transpose(picture)
    if upright.has_transparency_data:
        # What can be seen through lies on white, as on paper.
        clear = upright.convert("RGBA")
        upright = image_module.new("RGB", clear.size, "white")
        upright.paste(clear, mask=clear.getchannel("A"))
    upright = upright.convert("RGB")
    upright.thumbnail((SIDE, SIDE))
    # A new image holds pixels only: no place, no camera, no name.
    clean = image_module.new("RGB", upright.size)
    clean.paste(upright)
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue(), *clean.size
