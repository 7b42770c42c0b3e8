"""How long a large table takes to read, beside pandas reading its cells, and the memory of it.

20,000 rows of 31 bands, in processor time, the best of three; peak memory (Linux) is of a process
of its own that reads the table once, above one that imports the same.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.search_speed import timed
from dyemix.files import read_swatches

ROWS = 20_000
WANTED, WANTED_MB = 20.0, 200.0
_PEAK = """
import sys
from pathlib import Path
from dyemix.files import read_swatches
if len(sys.argv) > 1:
    read_swatches(sys.argv[1])
# By the kernel's own record: what getrusage tells a child began with its parent.
status = Path("/proc/self/status").read_text()
print(float(status.split("VmHWM:")[1].split()[0]) / 1024.0)
"""


def write(path: Path, rows: int = ROWS) -> None:
    """A table of invented spectra of twelve dyes and their mixes, per cent."""
    rng = np.random.default_rng(0)
    dyes = [f"dye{chr(97 + i)}" for i in range(12)]
    depths = np.geomspace(0.05, 4.0, 400)
    recipes = ["undyed"]
    for _ in range(rows - 1):
        some = rng.choice(dyes, rng.integers(1, 4), replace=False)
        recipes.append(" + ".join(f"{dye} {rng.choice(depths):.3f}" for dye in some))
    table = pd.DataFrame(
        np.round(rng.uniform(5.0, 85.0, (rows, 31)), 2),
        columns=[f"{band} nm" for band in range(400, 701, 10)],
    )
    table.insert(0, "recipe", recipes)
    path.write_text("# scale: percent\n" + table.to_csv(index=False), encoding="utf-8")


def peak(*words: str) -> float:
    """Peak memory, MB, of a process that imports the reader, and reads the table named."""
    done = subprocess.run(
        [sys.executable, "-c", _PEAK, *words], check=True, capture_output=True, text=True
    )
    return float(done.stdout)


def main() -> dict[str, float]:
    """Print both. Returns our time over that of pandas."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.csv"
        write(path)
        theirs = timed(partial(pd.read_csv, path, comment="#"), 1)
        ours = timed(partial(read_swatches, path), 1)
        memory = peak(str(path)) - peak()
    ratio = ours / theirs
    print(f"{ROWS} rows: pandas {theirs:.2f} s, read_swatches {ours:.2f} s: {ratio:.1f} times")
    print(f"(wanted: {WANTED:g} or less); memory {memory:.0f} MB (wanted: {WANTED_MB:g} or less)")
    return {"table": ratio}


if __name__ == "__main__":
    main()
