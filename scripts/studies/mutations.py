"""Ways to damage a file. Each is a function of dice and bytes that gives other bytes; the same dice, the same bytes."""

# ruff: noqa: D103 - the name of a mutation says what it does
from __future__ import annotations

import gzip
import struct
from collections.abc import Callable
from random import Random

from scripts.studies.tiff_entries import Entry, entries, order_of, tiff_start

Mutation = Callable[[Random, bytes], bytes]
BLOCK, CARD = 2880, 80
_END = b"END".ljust(CARD)

# Any file


def random_bytes(dice: Random, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(dice.choice((1, 2, 8, 64))):
        out[dice.randrange(len(out))] = dice.randrange(256)
    return bytes(out)


def random_run(dice: Random, data: bytes) -> bytes:
    length = dice.choice((4, 16, 80, 512, BLOCK))
    at = dice.randrange(len(data))
    return data[:at] + dice.randbytes(min(length, len(data) - at)) + data[at + length :]


def flipped_bits(dice: Random, data: bytes) -> bytes:
    return _flipped(dice, data, 0, len(data))


def cut_at_block(dice: Random, data: bytes) -> bytes:
    return data[: BLOCK * dice.randrange((len(data) - 1) // BLOCK + 1)]


def cut_anywhere(dice: Random, data: bytes) -> bytes:
    return data[: dice.choice((dice.randrange(len(data)), max(len(data) - dice.randrange(1, 40), 1)))]


def zeros_at_end(dice: Random, data: bytes) -> bytes:
    kept = dice.randrange(len(data))
    return data[:kept] + b"\0" * (len(data) - kept)


def zeros_inside(dice: Random, data: bytes) -> bytes:
    at, length = dice.randrange(len(data)), dice.choice((1, 80, 512, 4096))
    return data[:at] + b"\0" * min(length, len(data) - at) + data[at + length :]


def inserted(dice: Random, data: bytes) -> bytes:
    at = dice.randrange(len(data))
    return data[:at] + dice.randbytes(dice.choice((1, 2, 80, 2880))) + data[at:]


def removed(dice: Random, data: bytes) -> bytes:
    at = dice.randrange(len(data))
    return data[:at] + data[at + dice.choice((1, 2, 80, 2880)) :]


def more_behind(dice: Random, data: bytes) -> bytes:
    return data + dice.choice((data, dice.randbytes(5000), b"\0" * 2880, b"x"))


def _flipped(dice: Random, data: bytes, start: int, end: int) -> bytes:
    out = bytearray(data)
    for _ in range(dice.choice((1, 1, 1, 2, 4))):
        out[dice.randrange(start, max(end, start + 1))] ^= 1 << dice.randrange(8)
    return bytes(out)


# FITS


def headers(data: bytes) -> list[tuple[int, int]]:
    """First byte and number of cards, END not counted, of every header."""
    found: list[tuple[int, int]] = []
    start = 0
    while 0 <= start < len(data) and len(found) < 4:
        at = start
        while at + CARD <= len(data) and data[at : at + CARD] != _END:
            at += CARD
        found.append((start, (at - start) // CARD))
        start = data.find(b"XTENSION= ", at + CARD)
    return found


def _header(dice: Random, data: bytes) -> tuple[int, int]:
    return dice.choice(headers(data))


def header_bits(dice: Random, data: bytes) -> bytes:
    start, cards = _header(dice, data)
    return _flipped(dice, data, start, start + (cards + 1) * CARD)


def data_bits(dice: Random, data: bytes) -> bytes:
    start, cards = headers(data)[-1]
    return _flipped(dice, data, min(start + -(-(cards + 1) * CARD // BLOCK) * BLOCK, len(data) - 1), len(data))


def cut_inside_a_card(dice: Random, data: bytes) -> bytes:
    start, cards = _header(dice, data)
    return data[: start + dice.randrange(cards + 1) * CARD + dice.randrange(1, CARD)]


def _with_card(dice: Random, data: bytes, card: bytes, replace: bytes | None = None) -> bytes:
    """One more card somewhere in the header, or in the place of the first one that begins with `replace`."""
    start, cards = headers(data)[-1]
    lines = [data[start + n * CARD : start + (n + 1) * CARD] for n in range(cards)]
    behind = data[start + -(-(cards + 1) * CARD // BLOCK) * BLOCK :]
    place = next((n for n, line in enumerate(lines) if replace and line.startswith(replace)), None)
    if place is not None:
        lines[place] = card[:CARD].ljust(CARD)
    else:
        lines.insert(dice.randrange(1, cards + 1), card[:CARD].ljust(CARD))
    header = b"".join(lines) + _END
    return data[:start] + header.ljust(-(-len(header) // BLOCK) * BLOCK) + behind


def _any_card(dice: Random, data: bytes) -> bytes:
    start, cards = _header(dice, data)
    at = start + dice.randrange(cards or 1) * CARD
    return data[at : at + CARD]


def absurd_axes(dice: Random, data: bytes) -> bytes:
    keyword = dice.choice((b"NAXIS", b"NAXIS1", b"NAXIS2", b"NAXIS3", b"ZNAXIS1", b"ZNAXIS"))
    value = dice.choice((b"999", b"1000", b"-1", b"0", b"1", b"3", b"2147483648", b"99999999999999999999", b"2.5", b"T",
                         b"'64'", b"", b"NaN", b"16", b"40", b"0x40"))  # fmt: skip
    return _with_card(dice, data, keyword.ljust(8) + b"= " + value.rjust(20), keyword.ljust(8))


def gigabytes(dice: Random, data: bytes) -> bytes:
    keyword = dice.choice((b"NAXIS1", b"NAXIS2", b"PCOUNT", b"GCOUNT", b"NAXIS3", b"ZNAXIS1", b"ZNAXIS2", b"ZTILE1",
                           b"ZTILE2", b"THEAP"))  # fmt: skip
    value = str(dice.choice((1 << 26, 1 << 30, 1 << 33, 1 << 40, 1 << 62, 1 << 70))).encode()
    return _with_card(dice, data, keyword.ljust(8) + b"= " + value.rjust(20), keyword.ljust(8))


def absurd_form(dice: Random, data: bytes) -> bytes:
    keyword = dice.choice((b"BITPIX", b"BSCALE", b"BZERO", b"BLANK", b"GROUPS", b"SIMPLE", b"XTENSION", b"ZIMAGE",
                           b"ZBITPIX", b"ZCMPTYPE", b"TFORM1", b"TFIELDS", b"ZSCALE", b"ZZERO",
                           b"DATASUM"))  # fmt: skip
    value = dice.choice((b"8", b"-8", b"17", b"-64", b"64", b"0", b"1E300", b"1E999", b"-1E-320", b"NaN", b"T", b"F",
                         b"'X'", b"32769", b"", b"'1PB(99)'"))  # fmt: skip
    return _with_card(dice, data, keyword.ljust(8) + b"= " + value.rjust(20), keyword.ljust(8))


def odd_value(dice: Random, data: bytes) -> bytes:
    card = _any_card(dice, data)
    value = dice.choice((b"NaN", b"INF", b"-inf", b"300,5", b"1E999", b"1D+2", b"0x1F", b"'not closed", b"'a' b",
                         b"(1,2)", b"9" * 60, b"-0", b"1e", b"--1", b"2024-13-45T99:99:99", b"'2024-13-45T99:99:99'",
                         b"", b"''", b"' '", b"T", b"'\x1b[2J'", b"1 / 2 / 3", b"+", b".", b"1.5.2"))  # fmt: skip
    return _with_card(dice, data, card[:10] + value, card[:10])


def duplicate_keyword(dice: Random, data: bytes) -> bytes:
    card = bytearray(_any_card(dice, data))
    digits = [n for n in range(10, CARD) if 0x30 <= card[n] <= 0x39]
    if digits:
        card[dice.choice(digits)] = dice.choice(b"0123456789")
    else:
        card[dice.randrange(10, CARD)] = dice.choice(b"ABCDEFG ")
    return _with_card(dice, data, bytes(card))


def not_ascii(dice: Random, data: bytes) -> bytes:
    card = bytearray(_any_card(dice, data))
    for _ in range(dice.choice((1, 3, 20))):
        card[dice.randrange(CARD)] = dice.choice((0, 7, 9, 10, 13, 27, 127, 0x80, 0x9B, 0xA0, 0xC3, 0xE9, 0xFF))
    old = bytes(_any_card(dice, data))[:10]
    return _with_card(dice, data, bytes(card), dice.choice((bytes(card)[:8], old)))


def strange_card(dice: Random, data: bytes) -> bytes:
    letters = bytes(range(32, 127)) if dice.random() < 0.7 else bytes(range(256))
    card = bytes(dice.choice(letters) for _ in range(CARD))
    start = dice.choice((b"", b"HIERARCH ", b"CONTINUE  '", b"EXPTIME", b"END     =", b"        ", b"XBINNING= "))
    return _with_card(dice, data, start + card, dice.choice((None, _any_card(dice, data)[:8])))


def end_moved(dice: Random, data: bytes) -> bytes:
    start, cards = _header(dice, data)
    out = bytearray(data)
    if dice.random() < 0.5:
        at = start + cards * CARD
        out[at : at + CARD] = dice.choice(
            (b" " * CARD, b"END     =".ljust(CARD), b"end".ljust(CARD), b"ENDE".ljust(CARD))
        )
    else:
        at = start + dice.randrange(1, cards + 1) * CARD
        out[at : at + CARD] = _END
    return bytes(out)


def cards_in_disorder(dice: Random, data: bytes) -> bytes:
    start, cards = _header(dice, data)
    lines = [data[start + n * CARD : start + (n + 1) * CARD] for n in range(cards)]
    dice.shuffle(lines)
    return data[:start] + b"".join(lines) + data[start + cards * CARD :]


def no_end_of_cards(dice: Random, data: bytes) -> bytes:
    start, cards = headers(data)[0]
    more = b"".join(b"HISTORY %07d".ljust(CARD) % n for n in range(dice.choice((500, 20_000))))
    return data[:start] + data[start : start + cards * CARD] + more + dice.choice((b"", _END))


# gzip


def inside(mutation: Mutation) -> Mutation:
    """The same done to what is packed."""

    def changed(dice: Random, data: bytes) -> bytes:
        return gzip.compress(mutation(dice, gzip.decompress(data)), 1, mtime=0)

    return changed


def unpacks_to_much(dice: Random, data: bytes) -> bytes:
    whole = gigabytes(dice, gzip.decompress(data))
    return gzip.compress(whole + bytes(dice.choice((1, 8, 32)) << 20), 1, mtime=0)


# TIFF


def _entries(data: bytes) -> list[Entry]:
    start = tiff_start(data)
    return [] if start is None else list(entries(data, start))


def entry_changed(dice: Random, data: bytes) -> bytes:
    found = _entries(data)
    if not found:
        return flipped_bits(dice, data)
    entry, out, order = dice.choice(found), bytearray(data), order_of(data[tiff_start(data) or 0 :])
    part = dice.choice(("tag", "form", "count", "value", "bits"))
    if part == "tag":
        struct.pack_into(order + "H", out, entry.at, dice.choice((dice.randrange(65536), dice.choice(found).tag)))
    elif part == "form":
        struct.pack_into(order + "H", out, entry.at + 2, dice.choice((0, 14, 65535, *range(1, 13))))
    elif part == "count":
        many = (0, 1, 2, entry.count + 1, 1 << 16, 1 << 28, (1 << 32) - 1)
        struct.pack_into(order + "I", out, entry.at + 4, dice.choice(many))
    elif part == "value":
        places = (0, 1, 8, entry.directory, len(data) - 1, (1 << 32) - 1, dice.randrange(len(data)))
        struct.pack_into(order + "I", out, entry.at + 8, dice.choice(places))
    else:
        return _flipped(dice, data, entry.at, entry.at + 12)
    return bytes(out)


def entry_text(dice: Random, data: bytes) -> bytes:
    """The bytes a value points to."""
    found = [entry for entry in _entries(data) if entry.value is not None and entry.value_at != entry.at + 8]
    if not found:
        return random_bytes(dice, data)
    entry = dice.choice(found)
    end = min(entry.value_at + max(len(entry.value or b""), 1), len(data))
    if dice.random() < 0.5:
        return _flipped(dice, data, entry.value_at, end)
    length = min(dice.choice((1, 4, 30)), end - entry.value_at)
    return data[: entry.value_at] + dice.randbytes(length) + data[entry.value_at + length :]


def directory_loop(dice: Random, data: bytes) -> bytes:
    """A directory that follows itself, or one that holds another that holds it."""
    found = _entries(data)
    if not found:
        return flipped_bits(dice, data)
    start = tiff_start(data) or 0
    order, out = order_of(data[start:]), bytearray(data)
    places = sorted({entry.directory for entry in found})
    pointers = [entry.at + 8 for entry in found if entry.tag in (330, 34665, 34853, 0x927C)]
    for at in places:
        count = struct.unpack_from(order + "H", data, at)[0]
        if at + 2 + 12 * count + 4 <= len(data):
            pointers.append(at + 2 + 12 * count)
    struct.pack_into(
        order + "I", out, dice.choice(pointers), dice.choice((*places, *(entry.at for entry in found))) - start
    )
    return bytes(out)


def broken_note(dice: Random, data: bytes) -> bytes:
    """The maker's note; where there is none, the block of tags that is most like one."""
    notes = [entry for entry in _entries(data) if entry.tag == 0x927C and entry.value]
    if not notes:
        return entry_text(dice, data)
    note = dice.choice(notes)
    end = note.value_at + len(note.value or b"")
    if dice.random() < 0.6:
        return _flipped(dice, data, note.value_at, end)
    at = dice.randrange(note.value_at, end)
    length = min(dice.choice((1, 2, 4, 12, 200)), end - at)
    return data[:at] + dice.choice((dice.randbytes(length), b"\xff" * length, b"\0" * length)) + data[at + length :]


def gigabyte_picture(dice: Random, data: bytes) -> bytes:
    found = [
        entry for entry in _entries(data) if entry.tag in (256, 257, 258, 273, 277, 278, 279, 322, 323, 324, 325, 2, 3)
    ]
    if not found:
        return random_bytes(dice, data)
    out, order = bytearray(data), order_of(data[tiff_start(data) or 0 :])
    for entry in dice.sample(found, min(dice.choice((1, 2)), len(found))):
        large = dice.choice((65535, 1 << 20, 1 << 26, 1 << 31, (1 << 32) - 1))
        struct.pack_into(order + "HI", out, entry.at + 2, 4, 1)
        struct.pack_into(order + "I", out, entry.at + 8, large)
    return bytes(out)


# Boxes and tables of offsets


def wrong_length(dice: Random, data: bytes) -> bytes:
    """A box or block whose length is wrong, or an offset that leads elsewhere."""
    out = bytearray(data)
    names = (
        b"ftyp",
        b"moov",
        b"uuid",
        b"CMT1",
        b"CMT2",
        b"CMT3",
        b"mdat",
        b"trak",
        b"stbl",
        b"\0PRD",
        b"\0TTW",
        b"\0MRM",
    )
    places = [data.find(name) for name in names]
    wanted = [place for place in places if place >= 0]
    length = dice.choice((0, 1, 4, 7, 8, 9, 1 << 20, 1 << 31, (1 << 32) - 1, dice.randrange(1 << 16)))
    if data[:4] == b"FUJI":
        struct.pack_into(">I", out, 84 + 4 * dice.randrange(6), length)
    elif data[:4] == b"\0MRM":
        struct.pack_into(">I", out, dice.choice(wanted) + 4, length)
    elif wanted:
        place = dice.choice(wanted)
        struct.pack_into(">I", out, place - 4, length)
        if length == 1 and place + 12 <= len(out):
            struct.pack_into(">Q", out, place + 4, dice.choice((0, 1, 15, 16, 1 << 40, (1 << 64) - 1)))
    return bytes(out)


ANY: dict[str, Mutation] = {
    "random bytes": random_bytes, "a run of random bytes": random_run, "bits flipped anywhere": flipped_bits,
    "cut at a 2880-byte boundary": cut_at_block, "cut anywhere": cut_anywhere, "zeros up to the end": zeros_at_end,
    "zeros inside": zeros_inside, "bytes put in": inserted, "bytes taken out": removed,
    "more behind the end": more_behind,
}  # fmt: skip
FITS: dict[str, Mutation] = {
    "bits flipped in a header": header_bits, "bits flipped in the data": data_bits,
    "cut inside a card": cut_inside_a_card,
    "absurd NAXIS": absurd_axes, "gigabytes announced": gigabytes, "absurd form of data": absurd_form,
    "odd value": odd_value, "keyword given twice": duplicate_keyword, "card not in ASCII": not_ascii,
    "strange card": strange_card, "END lost or early": end_moved, "cards in disorder": cards_in_disorder,
    "very many cards": no_end_of_cards,
}  # fmt: skip
TIFF: dict[str, Mutation] = {
    "TIFF entry changed": entry_changed, "TIFF value changed": entry_text, "TIFF directories in a loop": directory_loop,
    "broken maker's note": broken_note, "gigabytes announced": gigabyte_picture,
}  # fmt: skip
BY_FAMILY: dict[str, dict[str, Mutation]] = {
    "fits": ANY | FITS,
    "gzip": ANY
    | {name: inside(mutation) for name, mutation in FITS.items()}
    | {"unpacks to gigabytes": unpacks_to_much},
    "tiff": ANY | TIFF,
    "boxes": ANY | TIFF | {"box or offset of wrong length": wrong_length},
}
