"""How long a command takes from nothing: ``python -m benchmarks.cold_start``.

Process time, child included, against a Python that imports numpy and scipy.optimize and does
nothing, alternating in one run; the median of each. The fit of the demo is kept.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from statistics import median

#: What is measured against.
BARE = ("-c", "import numpy, scipy.optimize")
COMMANDS = {
    "dyemix --help": ("-m", "dyemix.cli.main", "--help"),
    "import dyemix": ("-c", "import dyemix"),
    "import numpy": ("-c", "import numpy"),
    "dyemix predict": ("-m", "dyemix.cli.main", "predict", "marigold 0.8 + navy 0.25"),
    "dyemix match": ("-m", "dyemix.cli.main", "match", "#7d8a6e"),
}
WANTED = {"dyemix match": 1.3}
TIMES = 9


def seconds(words: Sequence[str], environment: dict[str, str], folder: str) -> float:
    """Process time of one run, s: user and system."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, *words], env=environment, cwd=folder, check=True, capture_output=True,
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> dict[str, float]:
    """Print the table. Returns each as a multiple of importing numpy and scipy.optimize."""
    root = str(Path(__file__).resolve().parents[1])
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "PYTHONPATH": root, "XDG_CACHE_HOME": folder}
        environment |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        for words in COMMANDS.values():  # keeps the fit, and the compiled modules
            seconds(words, environment, folder)
        bare: list[float] = []
        taken: dict[str, list[float]] = {name: [] for name in COMMANDS}
        for _ in range(TIMES):
            bare.append(seconds(BARE, environment, folder))
            for name, words in COMMANDS.items():
                taken[name].append(seconds(words, environment, folder))
    ratios = {name: median(times) / median(bare) for name, times in taken.items()}
    for name, ratio in ratios.items():
        wanted = f"  (wanted: {WANTED[name]:.1f} or less)" if name in WANTED else ""
        print(f"{name:<16} {ratio:.2f} times importing numpy and scipy.optimize{wanted}")
    ratio = median(taken["import dyemix"]) / median(taken["import numpy"])
    print(f"import dyemix is {ratio:.2f} times importing numpy  (wanted: 1.6 or less)")
    return ratios


if __name__ == "__main__":
    main()
