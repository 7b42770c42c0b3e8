"""Damage done to sound files, byte by byte, to see what a reader makes of them."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np

from dyemix.errors import DyemixError
from dyemix.files import read_swatches

BITS = [
    b",", b'"', b"\n", b"nan", b"-", b"1e999", b"\xff", b"#", b"<", b">", b"&x;", b"/", b"\0",
    b"BEGIN_DATA\n", b"</Object>", b"=1+1", b"inf", b"%", b" nm", b"\x80",
]  # fmt: skip


def damaged(data: bytes, seed: int, cuts: int) -> bytes:
    """`data` with so many random changes: bytes set, dropped, inserted, swapped, or cut off."""
    rng = random.Random(seed)
    out = bytearray(data)
    for _ in range(cuts):
        if not out:
            break
        at = rng.randrange(len(out))
        change = rng.choice(["set", "drop", "insert", "cut", "swap", "double"])
        if change == "set":
            out[at] = rng.randrange(256)
        elif change == "drop":
            del out[at : at + rng.randrange(1, 40)]
        elif change == "insert":
            out[at:at] = rng.choice(BITS)
        elif change == "cut" and rng.random() < 0.3:
            out = out[: at + 1]
        elif change == "swap":
            other = rng.randrange(len(out))
            out[at], out[other] = out[other], out[at]
        else:
            out[at:at] = out[at : at + rng.randrange(1, 200)]
    return bytes(out)


def read_or_refused(path: Path, data: bytes) -> bool:
    """Whether `data` was read; refused in words is as good, anything else fails."""
    path.write_bytes(data)
    try:
        swatches = read_swatches(path)
    except DyemixError as error:
        refusal: str | None = str(error)
    else:
        refusal = None
    if refusal is not None:
        assert refusal.strip()
        return False
    for reading in swatches.readings:
        for values in (reading.reflectance, reading.lab, reading.covariance):
            assert values is None or np.isfinite(values).all()
    return True
