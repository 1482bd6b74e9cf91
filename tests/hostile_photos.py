"""Picture files that were made to harm, or that no camera makes; each is small on disk."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable

import numpy as np
import tifffile
from PIL import Image

# Refused with a line that holds these words; None where it is a picture all the same.
WIDTH, HEIGHT = 240, 200
Case = tuple[Callable[[], bytes], str | None]


def fringes() -> np.ndarray:
    """Rings, as 8-bit greys."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    wave = np.cos(((x - WIDTH / 2) ** 2 + (y - HEIGHT / 2) ** 2) / 300)
    return np.round(120 + 100 * wave).astype(np.uint8)


def colour() -> Image.Image:
    """Rings in three channels."""
    grey = fringes()
    return Image.merge("RGB", [Image.fromarray(grey // k) for k in (1, 2, 4)])


def saved(picture: Image.Image, kind: str, **options) -> bytes:
    file = io.BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


def deep(samples: np.ndarray | None = None, **options) -> bytes:
    """A TIFF of deep colour."""
    file = io.BytesIO()
    rings = np.stack([fringes().astype(np.uint16) * 256] * 3, 2)
    tifffile.imwrite(file, rings if samples is None else samples, photometric="rgb", **options)
    return file.getvalue()


def png_chunk(kind: bytes, body: bytes) -> bytes:
    check = struct.pack(">I", zlib.crc32(kind + body))
    return struct.pack(">I", len(body)) + kind + body + check


def png(width: int, height: int, kind: int, rows: bytes, *more: bytes, bits: int = 8) -> bytes:
    """A PNG with whatever its header claims; `rows` is packed already, `more` goes before it."""
    header = struct.pack(">IIBBBBB", width, height, bits, kind, 0, 0, 0)
    parts = (png_chunk(b"IHDR", header), *more, png_chunk(b"IDAT", rows), png_chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def zeros(count: int) -> bytes:
    """So many zeros in zlib's format (RFC 1950), packed a thousandfold."""
    block, rest = 1 << 20, count & 0xFFFFF
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    first = packer.compress(bytes(block)) + packer.flush(zlib.Z_FULL_FLUSH)
    last = zlib.compressobj(9, zlib.DEFLATED, -15)
    check = struct.pack(">HH", count % 65521, 1)
    end = last.compress(bytes(rest)) + last.flush()
    return b"\x78\xda" + first * (count >> 20) + end + check


def tiff(tags: list[tuple[int, int, int, int]], data: bytes = b"", after: int = 0) -> bytes:
    """A TIFF with these (tag, kind, count, value), its data after them."""
    parts = [b"II*\0", struct.pack("<IH", 8, len(tags))]
    parts += [struct.pack("<HHII", *tag) for tag in tags]
    return b"".join([*parts, struct.pack("<I", after), data])


def grey_tags(width: int, height: int, more: tuple[tuple[int, int, int, int], ...] = ()) -> list:
    tags = [(256, 4, 1, width), (257, 4, 1, height), (258, 3, 1, 8), (259, 3, 1, 1),
            (262, 3, 1, 1), (277, 3, 1, 1), (278, 4, 1, height), *more]  # fmt: skip
    start = 8 + 2 + 12 * (len(tags) + 2) + 4
    return sorted([*tags, (273, 4, 1, start), (279, 4, 1, min(width * height, 2**32 - 1))])


def jpeg_that_claims(width: int, height: int) -> bytes:
    """A JPEG with another size in its header."""
    data = bytearray(saved(colour(), "JPEG"))
    place = data.index(b"\xff\xc0") + 5
    data[place : place + 4] = struct.pack(">HH", height, width)
    return bytes(data)


def jpeg_with_exif(body: bytes) -> bytes:
    """A JPEG with anything in the place of its EXIF data."""
    data = saved(colour(), "JPEG")
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]


def animated() -> bytes:
    frames = [Image.fromarray(np.roll(fringes(), k, 1)) for k in range(3)]
    return saved(frames[0], "PNG", save_all=True, append_images=frames[1:])


def pages(count: int) -> bytes:
    page = Image.fromarray(fringes())
    return saved(page, "TIFF", save_all=True, append_images=[page] * (count - 1))


def endless_pages() -> bytes:
    """A TIFF whose second page names the first as the next one, and so on for ever."""
    first = tiff(grey_tags(WIDTH, HEIGHT), fringes().tobytes())
    second_at = len(first)
    body = bytearray(first)
    end = 8 + 2 + 12 * 9
    body[end : end + 4] = struct.pack("<I", second_at)
    return bytes(body) + first[8:end] + struct.pack("<I", 8)


def thumbnail_after() -> bytes:
    """A TIFF whose second page says that it is a reduced copy of the first."""
    file = io.BytesIO()
    with tifffile.TiffWriter(file) as writer:
        writer.write(fringes(), metadata=None)
        writer.write(fringes()[::4, ::4], subfiletype=1, metadata=None)
    return file.getvalue()


def two_in_one() -> bytes:
    """A camera's file of two pictures, of which the first is the photograph."""
    return saved(colour(), "MPO", save_all=True, append_images=[colour()])


def float_tiff(*spoilt: float) -> bytes:
    file = io.BytesIO()
    light = fringes().astype(np.float32)
    light.flat[: len(spoilt)] = spoilt
    tifffile.imwrite(file, light)
    return file.getvalue()


def whole_numbers(kind: str, factor: int) -> bytes:
    file = io.BytesIO()
    tifffile.imwrite(file, fringes().astype(kind) * factor)
    return file.getvalue()


def packed_bomb() -> bytes:
    """A deep TIFF of 80 x 64 pixels, of which one strip unpacks to a gigabyte."""
    bomb = zeros(1 << 30)
    tags = [(256, 4, 1, 80), (257, 4, 1, 64), (258, 3, 3, 0), (259, 3, 1, 8), (262, 3, 1, 2),
            (277, 3, 1, 3), (278, 4, 1, 64), (279, 4, 1, len(bomb))]  # fmt: skip
    start = 8 + 2 + 12 * (len(tags) + 1) + 4
    tags[2] = (258, 3, 3, start)
    tags = sorted([*tags, (273, 4, 1, start + 6)])
    return tiff(tags, struct.pack("<HHH", 16, 16, 16) + bomb)


def cut(data: Callable[[], bytes], share: float) -> Callable[[], bytes]:
    return lambda: data()[: int(share * len(data()))]


def jpeg() -> bytes:
    return saved(colour(), "JPEG")


def paletted() -> bytes:
    return saved(colour().quantize(16), "PNG")


def with_alpha(alpha: int) -> bytes:
    picture = colour()
    picture.putalpha(alpha)
    return saved(picture, "PNG")


CASES: dict[str, Case] = {
    # cut short
    "nothing.jpg": (lambda: b"", "is empty"),
    "start.jpg": (lambda: b"\xff\xd8\xff", "not a JPEG"),
    **{f"jpeg-{s}.jpg": (cut(jpeg, s), "damaged") for s in (0.02, 0.3, 0.6, 0.95)},
    **{f"png-{s}.png": (cut(lambda: saved(colour(), "PNG"), s), "damaged") for s in (0.01, 0.5)},
    **{f"tiff-{s}.tif": (cut(lambda: saved(colour(), "TIFF"), s), "damaged") for s in (0.5, 0.9)},
    **{f"deep-{s}.tif": (cut(deep, s), "damaged") for s in (0.001, 0.5, 0.98)},
    "zip.tif": (cut(lambda: deep(compression="zlib"), 0.8), "damaged"),
    # what is no photograph, whatever its name says
    "text.jpg": (lambda: b"these are no pixels\n" * 99, "not a JPEG, PNG, TIFF or HEIC"),
    "page.jpg": (lambda: b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(999), "not a JPEG, PNG, TIFF or"),
    "moving.jpg": (lambda: saved(colour(), "GIF"), "not a JPEG, PNG, TIFF or HEIC"),
    "bitmap.png": (lambda: saved(colour(), "BMP"), "not a JPEG, PNG, TIFF or HEIC"),
    "web.tif": (lambda: saved(colour(), "WEBP"), "not a JPEG, PNG, TIFF or HEIC"),
    "printed.jpg": (lambda: saved(colour(), "EPS"), "not a JPEG, PNG, TIFF or HEIC"),
    "zip.jpg": (lambda: b"PK\3\4" + bytes(500), "not a JPEG, PNG, TIFF or HEIC"),
    "archive.png": (lambda: b"\x89HDF\r\n\x1a\n" + bytes(500), "not a JPEG, PNG, TIFF or HEIC"),
    # sizes that no camera makes
    "claims.jpg": (lambda: jpeg_that_claims(65_000, 65_000), "megapixels"),
    "bomb.png": (lambda: png(20_000, 20_000, 0, zeros(20_000 * 20_001)), "megapixels"),
    "huge.png": (lambda: png(2**31 - 1, 2**31 - 1, 2, b""), "megapixels"),
    "long.png": (lambda: png(2**31 - 1, 1, 0, b""), "megapixels"),
    "large.png": (lambda: png(10_900, 10_900, 6, zeros(10_900 * 43_601)), "memory"),
    "none.png": (lambda: png(0, 0, 0, b""), "none.png"),
    "huge.tif": (lambda: tiff(grey_tags(2**32 - 1, 2**32 - 1)), "megapixels"),
    "strip.tif": (lambda: tiff(grey_tags(10_000, 10_000)), "damaged"),
    "packed.tif": (packed_bomb, "unpacks to more"),
    "count.tif": (lambda: tiff([(256, 4, 2**32 - 1, 8), *grey_tags(80, 64)[1:]]), "count.tif"),
    "text.png": (
        lambda: png(80, 64, 0, zlib.compress(bytes(81 * 64)),
                    png_chunk(b"zTXt", b"a\0\0" + zeros(1 << 30))), "damaged",
    ),
    "profile.png": (
        lambda: png(80, 64, 0, zlib.compress(bytes(81 * 64)),
                    png_chunk(b"iCCP", b"a\0\0" + zeros(1 << 30))), "profile.png",
    ),
    # kinds that carry no light, or not one picture
    "animated.png": (animated, "several pictures"),
    "pages.tif": (lambda: pages(3), "several pictures"),
    "endless.tif": (endless_pages, "several pictures"),
    "bits.png": (lambda: saved(colour().convert("1"), "PNG"), "black and white"),
    "fax.tif": (lambda: saved(colour().convert("1"), "TIFF", compression="group4"),
                "black and white"),
    "press.jpg": (lambda: saved(colour().convert("CMYK"), "JPEG"), "CMYK"),
    "press.tif": (lambda: saved(colour().convert("CMYK"), "TIFF"), "CMYK"),
    "lab.tif": (lambda: saved(colour().convert("LAB"), "TIFF"), "LAB"),
    "nan.tif": (lambda: float_tiff(np.nan), "not numbers"),
    "inf.tif": (lambda: float_tiff(np.inf), "not numbers"),
    "dark.tif": (lambda: float_tiff(-1e30), "no light"),
    "whole.tif": (lambda: whole_numbers("i4", 1 << 20), "32-bit"),
    "minus.tif": (lambda: whole_numbers("i2", -1), "32-bit"),
    "complex.tif": (lambda: whole_numbers("c8", 1), "kind that is not read"),
    "double.tif": (lambda: deep(np.zeros((64, 80, 3), "u4")), "kind that is not read"),
    "small.png": (lambda: saved(colour().resize((20, 20)), "PNG"), "too few"),
    # odd, and a picture all the same
    "named.png": (jpeg, None),
    "named.jpg": (lambda: saved(colour(), "PNG"), None),
    "palette.png": (paletted, None),
    "alpha.png": (lambda: with_alpha(255), None),
    "glass.png": (lambda: with_alpha(90), None),
    "deep.tif": (deep, None),
    "deep.png": (lambda: saved(Image.fromarray(fringes().astype(np.uint16) * 256), "PNG"), None),
    "float.tif": (float_tiff, None),
    "thumbnail.tif": (thumbnail_after, None),
    "two.jpg": (two_in_one, None),
    # garbage where EXIF should be
    "exif-noise.jpg": (lambda: jpeg_with_exif(b"Exif\0\0" + bytes(range(256)) * 9), None),
    "exif-short.jpg": (lambda: jpeg_with_exif(b"Exif\0\0II*\0"), None),
    "exif-far.jpg": (lambda: jpeg_with_exif(b"Exif\0\0II*\0\xff\xff\xff\xff"), None),
    "exif-loop.jpg": (
        lambda: jpeg_with_exif(b"Exif\0\0" + tiff([(0x8769, 4, 1, 8)], after=8)), None,
    ),
    "exif-99.jpg": (lambda: jpeg_with_exif(b"Exif\0\0" + tiff([(0x0112, 3, 1, 99)])), None),
    "exif-text.jpg": (
        lambda: jpeg_with_exif(b"Exif\0\0" + tiff([(0x0112, 2, 4, 0x41414141)])), None,
    ),
    "exif-many.jpg": (
        lambda: jpeg_with_exif(b"Exif\0\0" + tiff([(0x0112, 3, 2**31, 0)])), None,
    ),
}  # fmt: skip
