"""FITS files of raw 80-byte cards, written by hand so that they can break the standard where a test wants it."""

import numpy as np

BLOCK = 2880


def card(text: str | bytes) -> bytes:
    raw = text if isinstance(text, bytes) else text.encode("latin-1")
    assert len(raw) <= 80, text
    return raw.ljust(80)


def header(*cards: str | bytes, end: bool = True) -> bytes:
    raw = b"".join(card(one) for one in cards) + (card("END") if end else b"")
    return raw + b" " * (-len(raw) % BLOCK)


def padded(data: bytes) -> bytes:
    return data + b"\0" * (-len(data) % BLOCK)


def noise(height: int = 24, width: int = 32, level: float = 1000.0, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(level, 20.0, (height, width)).round().astype(np.uint16)


def structure(bitpix: int, *axes: int, first: str = "SIMPLE  =                    T") -> list[str]:
    cards = [first, f"BITPIX  = {bitpix:20d}", f"NAXIS   = {len(axes):20d}"]
    return cards + [f"NAXIS{n}  = {length:20d}" for n, length in enumerate(axes, start=1)]


UNSIGNED = ("BSCALE  =                    1", "BZERO   =                32768")


def unsigned(pixels: np.ndarray) -> bytes:
    return (pixels.astype(np.int32) - 32768).astype(">i2").tobytes()


def frame(*cards: str | bytes, pixels: np.ndarray | None = None) -> bytes:
    """A whole file of 16-bit unsigned pixels with these cards behind the mandatory ones."""
    data = noise() if pixels is None else pixels
    height, width = data.shape
    return header(*structure(16, width, height), *UNSIGNED, *cards) + padded(unsigned(data))
