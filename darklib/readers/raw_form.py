"""How a raw file stores its sensor's data: bits, compression, and whether they still are the sensor's.

What a camera packed with loss is no measurement of single pixels any more: lights are kept and matched, but such frames
are never taken for darks, flats or biases. Pictures in a form made for pictures are not taken in at all.
"""

from darklib.readers import structure as tiff

PACKING_WORDS: dict[str, str] = {
    # One maker's words for compression (tag 0x0093), as metadata libraries print them.
    "lossy (type 1)": "lossy",
    "lossy (type 2)": "lossy",
    "uncompressed": "none",
    "lossless": "lossless",
    "striped packed 12 bits": "none",
    "uncompressed (reduced to 12 bit)": "none",
    "unpacked 12 bits": "none",
    "packed 12 bits": "none",
    "small": "lossy",  # sums of pixels, with colours worked out
    "13": "lossy",  # "high efficiency"; value from memory
    "14": "lossy",
    # Another's number for picture quality, the fourth of its settings: 4 raw, 7 raw packed small. Values from memory; a
    # real head with 7 also announces three levels of wavelets in its picture's header, which a lossless one has not.
    "quality 4": "lossless",
    "quality 7": "lossy",
}

PICTURE_FORMS = (7, 34892)
"""TIFF compressions of pictures: JPEG (TIFF technical note 2) and lossy JPEG (DNG 1.4)."""


def form_of(
    format_: str, picture: tiff.Directory | None, data: memoryview, word: str
) -> tuple[int | None, str | None, bool]:
    """Bits of a stored number, none/lossless/lossy as far as it is known, and whether colours were worked out.

    word: the maker's own word for the compression, or empty.
    """
    said = PACKING_WORDS.get(word.casefold())
    if picture is None:
        return None, said, False
    bits = picture.whole(tiff.BITS)
    demosaiced = picture.whole(tiff.PHOTOMETRIC) == tiff.LINEAR_PHOTOMETRIC and (picture.whole(tiff.SAMPLES) or 1) > 1
    code = picture.whole(tiff.COMPRESSION) or 1
    if code == 1:
        return bits, "none" if said != "lossy" else said, demosaiced
    if code == 7:
        starts = picture.wholes(tiff.TILE_OFFSETS) or picture.wholes(tiff.STRIP_OFFSETS)
        marker = tiff.jpeg_frame(bytes(data[starts[0] : starts[0] + 4096])) if starts else None
        return bits, None if marker is None else "lossless" if marker == 0xC3 else "lossy", demosaiced
    if code == 34892 or (format_ == "arw" and code == 32767 and bits == 8):
        return bits, "lossy", demosaiced
    return bits, said or ("lossless" if code == 8 else None), demosaiced
