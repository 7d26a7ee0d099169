"""Pictures that Pillow writes, and the photographs that are made of them, read by Pillow and `exifread`.

Some 200 pictures of random size, mode, format, orientation and metadata are handed to the built test program, which makes
photographs of them. Pillow then opens each: it must be a JPEG of the size and, within what a JPEG loses, of the colours that
Pillow itself sees when it turns the picture upright and lays it on white; and neither Pillow nor `exifread` may find
anything in it beside pixels. `--vectors` writes the small pictures of tests/vectors/photographs anew instead.
"""

import io
import os
import pathlib
import random
import subprocess
import sys
import tempfile

import exifread
from PIL import Image, ImageChops, ImageCms, ImageOps, ImageStat, PngImagePlugin

ROOT = pathlib.Path(__file__).resolve().parents[2]
VECTORS = ROOT / "tests" / "vectors" / "photographs"
SECRET = "SECRETBENCH"
XMP = f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><dc:creator>{SECRET}</dc:creator></x:xmpmeta>'.encode()
THUMBNAIL = 480


def exif(orientation):
    """Orientation, device, owner and a position on the earth."""
    tags = Image.Exif()
    if orientation:
        tags[0x0112] = orientation
    tags[0x010F] = SECRET
    tags[0x0110] = "a telephone"
    tags[0x013B] = SECRET
    gps = tags.get_ifd(0x8825)
    gps.update({1: "N", 2: (12.0, 34.0, 56.12), 3: "W", 4: (65.0, 43.0, 21.31), 29: "2026:03:14"})
    tags.get_ifd(0x8769)[0x9286] = b"ASCII\0\0\0" + SECRET.encode()
    return tags


def quadrants(width=48, height=32):
    """Red, green above blue, white: whichever way it is turned, it shows."""
    picture = Image.new("RGB", (width, height), (255, 255, 255))
    picture.paste((220, 20, 20), (0, 0, width // 2, height // 2))
    picture.paste((20, 200, 20), (width // 2, 0, width, height // 2))
    picture.paste((20, 20, 220), (0, height // 2, width // 2, height))
    return picture


# What a camera that was held so stores, so that turning it by the tag gives the upright picture (Exif 2.32, 4.6.4).
STORED = {
    1: [],
    2: [Image.Transpose.FLIP_LEFT_RIGHT],
    3: [Image.Transpose.ROTATE_180],
    4: [Image.Transpose.FLIP_TOP_BOTTOM],
    5: [Image.Transpose.TRANSPOSE],
    6: [Image.Transpose.ROTATE_90],
    7: [Image.Transpose.TRANSVERSE],
    8: [Image.Transpose.ROTATE_270],
}


def stored(picture, orientation):
    for step in STORED.get(orientation, []):
        picture = picture.transpose(step)
    return picture


def png_info():
    info = PngImagePlugin.PngInfo()
    info.add_text("Author", SECRET)
    info.add_itxt("XML:com.adobe.xmp", XMP.decode())
    return info


def encoded(picture, form, orientation=None, **options):
    file = io.BytesIO()
    if form == "JPEG":
        options = {"quality": 92, "comment": SECRET, "exif": exif(orientation), "xmp": XMP, **options}
    elif form == "PNG":
        options = {"exif": exif(orientation), "pnginfo": png_info(), **options}
    else:
        options = {"exif": exif(orientation).tobytes(), "xmp": XMP, **options}
    stored(picture, orientation).save(file, form, **options)
    return file.getvalue()


def vectors():
    VECTORS.mkdir(parents=True, exist_ok=True)
    picture, files = quadrants(), {}
    for orientation in range(1, 9):
        files[f"orientation-{orientation}.jpg"] = encoded(picture, "JPEG", orientation, quality=95, subsampling=0)
    files["orientation-6.png"] = encoded(picture, "PNG", 6)
    files["orientation-6.webp"] = encoded(picture, "WEBP", 6, lossless=True)
    files["progressive.jpg"] = encoded(picture, "JPEG", quality=95, progressive=True, subsampling=0)
    files["lossy.webp"] = encoded(picture, "WEBP", quality=95)
    cmyk = io.BytesIO()
    picture.convert("CMYK").save(cmyk, "JPEG", quality=95)
    files["cmyk.jpg"] = cmyk.getvalue()
    grey = io.BytesIO()
    picture.convert("L").save(grey, "JPEG", quality=95)
    files["grey.jpg"] = grey.getvalue()
    palette = io.BytesIO()
    picture.convert("P", palette=Image.Palette.ADAPTIVE).save(palette, "PNG")
    files["palette.png"] = palette.getvalue()
    clear = picture.convert("RGBA")
    clear.putalpha(Image.new("L", picture.size, 128))
    half = io.BytesIO()
    clear.save(half, "PNG")
    files["half-clear.png"] = half.getvalue()
    frames = [picture, picture.transpose(Image.Transpose.ROTATE_180)]
    for name, form in [("animated.webp", "WEBP"), ("animated.png", "PNG"), ("animated.gif", "GIF")]:
        file = io.BytesIO()
        frames[0].save(file, form, save_all=True, append_images=frames[1:], duration=100)
        files[name] = file.getvalue()
    pair = io.BytesIO()
    frames[0].save(pair, "MPO", save_all=True, append_images=frames[1:], quality=95)
    files["two-pictures.jpg"] = pair.getvalue()
    for name, content in files.items():
        (VECTORS / name).write_bytes(content)
    print(f"{len(files)} pictures, {sum(map(len, files.values()))} bytes")


def smooth(rng, size):
    """Colours that change slowly, so that a JPEG keeps them."""
    corners = Image.new("RGB", (2, 2))
    corners.putdata([tuple(rng.randrange(256) for _ in range(3)) for _ in range(4)])
    return corners.resize(size, Image.Resampling.BICUBIC)


def drawn(rng):
    """A random picture: its bytes, and how it should look."""
    size = (rng.choice([1, 2, 7, 97, 480, 481, 1500]), rng.choice([1, 3, 8, 131, 479, 900]))
    picture = smooth(rng, size)
    orientation = rng.choice([None, *range(1, 9)])
    kind = rng.choice(["jpeg", "progressive", "grey", "png", "png-clear", "png-grey16", "webp", "webp-lossless", "webp-clear"])
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes() if rng.random() < 0.5 else None
    options = {"icc_profile": profile} if profile else {}
    if kind in ("jpeg", "progressive"):
        options |= {"progressive": kind == "progressive", "subsampling": rng.choice([0, 1, 2])}
        sent = encoded(picture, "JPEG", orientation, **options)
    elif kind == "grey":
        sent = encoded(picture.convert("L"), "JPEG", orientation)
    elif kind == "png-grey16":
        picture = picture.convert("L").convert("I").point(lambda value: value * 257).convert("I;16")
        sent = encoded(picture, "PNG", None)
    elif kind in ("png-clear", "webp-clear"):
        picture = picture.convert("RGBA")
        picture.putalpha(smooth(rng, size).convert("L"))
        form = "PNG" if kind == "png-clear" else "WEBP"
        sent = encoded(picture, form, orientation, **({} if form == "PNG" else {"lossless": True, "exact": True}), **options)
    elif kind == "png":
        sent = encoded(picture, "PNG", orientation, **options)
    else:
        sent = encoded(picture, "WEBP", orientation, lossless=kind == "webp-lossless", quality=92, **options)
    return kind, sent


def seen(sent):
    """How Pillow sees what was sent."""
    picture = ImageOps.exif_transpose(Image.open(io.BytesIO(sent)))
    if picture.mode.startswith("I"):
        return picture.convert("I").point(lambda value: value / 257).convert("L").convert("RGB")
    clear = picture.convert("RGBA")
    white = Image.new("RGBA", clear.size, (255, 255, 255, 255))
    return Image.alpha_composite(white, clear).convert("RGB")


def nothing_but_pixels(kept):
    picture = Image.open(io.BytesIO(kept))
    assert picture.format == "JPEG" and picture.mode == "RGB", (picture.format, picture.mode)
    picture.load()
    extra = set(picture.info) - {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
    assert not extra and not picture.getexif(), extra
    assert not exifread.process_file(io.BytesIO(kept), details=True)
    assert SECRET.encode() not in kept and b"Exif" not in kept and b"ICC_PROFILE" not in kept
    assert kept.endswith(b"\xff\xd9"), "something stands behind the picture"
    return picture


def difference(one, other):
    return max(ImageStat.Stat(ImageChops.difference(one, other)).mean)


def check(kind, sent, kept, small):
    wanted, photograph, thumbnail = seen(sent), nothing_but_pixels(kept), nothing_but_pixels(small)
    assert photograph.size == wanted.size, (kind, photograph.size, wanted.size)
    # Where there are few pixels, a JPEG of half as many colours is spread over them in more ways than one.
    few = min(wanted.size) < 16
    off = difference(photograph, wanted)
    assert off < (40 if few else 4), (kind, wanted.size, off)
    longer = max(wanted.size)
    if longer <= THUMBNAIL:
        assert thumbnail.size == wanted.size
    else:
        exact = [side * THUMBNAIL / longer for side in wanted.size]
        assert max(thumbnail.size) == THUMBNAIL, thumbnail.size
        assert all(abs(side - max(1, want)) <= 0.5 for side, want in zip(thumbnail.size, exact)), thumbnail.size
    off = difference(thumbnail, wanted.resize(thumbnail.size, Image.Resampling.BOX))
    assert off < (40 if few else 8), (kind, wanted.size, off)


def main():
    seed = int(os.environ.get("SEED", random.SystemRandom().randrange(2**32)))
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        pictures = [drawn(rng) for _ in range(200)]
        for number, (_, sent) in enumerate(pictures):
            (folder / f"{number}.sent").write_bytes(sent)
        command = ["cargo", "test", "--quiet", "--locked", "--test", "it", "photographs::develops_a_folder", "--", "--ignored"]
        run = subprocess.run(command, cwd=ROOT, env={**os.environ, "PICTURES": str(folder)}, capture_output=True, text=True)
        assert run.returncode == 0, run.stdout + run.stderr
        for number, (kind, sent) in enumerate(pictures):
            try:
                check(kind, sent, (folder / f"{number}.kept").read_bytes(), (folder / f"{number}.small").read_bytes())
            except AssertionError as wrong:
                raise AssertionError(f"SEED={seed}, picture {number}, {kind}: {wrong}") from wrong
    print(f"{len(pictures)} photographs are what Pillow sees, and hold nothing but pixels")


if __name__ == "__main__":
    vectors() if "--vectors" in sys.argv else main()
