"""Measuring a frame's pixels against reading and hashing its file, both once, in one process."""

from __future__ import annotations

import hashlib

import numpy as np

from darklib.facts.frame import Kind
from scripts.benchmarks.camera_files import scene
from scripts.benchmarks.stopwatch import Plan, Row, in_turns, median, milliseconds


def row(plan: Plan) -> Row:
    """One colour frame with stars and hot pixels."""
    from darklib.pixels.measure import measure

    shape = (400, 600) if plan.quick else (4000, 6000)
    pixels = np.minimum(scene(Kind.LIGHT, *shape, 1, np.random.default_rng(24)), 16383).astype(np.uint16)
    path = plan.scratch / "pixels.bin"
    path.write_bytes(pixels.tobytes())

    def ours() -> None:
        measure(pixels, cfa="RGGB", cfa_rows=2, cfa_columns=2, black_dn=512.0, white_dn=16383.0, bits=14)

    def read_and_hash() -> None:
        digest = hashlib.sha256()
        with path.open("rb", buffering=0) as handle:
            while piece := handle.read(1 << 20):
                digest.update(piece)

    ours()
    read_and_hash()
    mine, reference = in_turns(ours, read_and_hash, max(3, plan.rounds))
    path.unlink()
    megapixels = shape[0] * shape[1] / 1e6
    return Row(
        f"measuring a colour frame of {megapixels:.2g} megapixels",
        milliseconds(median(mine)),
        f"{milliseconds(median(reference))}, reading and hashing its {2 * megapixels:.2g} MB",
        f"{median(mine) / median(reference):.2f} times",
        "",
        None,
        f"Measuring: one core, fastest {milliseconds(min(mine))}.",
    )
