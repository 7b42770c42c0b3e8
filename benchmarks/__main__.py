"""Run every benchmark: ``python -m benchmarks``, or only those named after it.

What a benchmark returns, by name, are ratios to an alternative in the same run, less is better:
``--save FILE`` keeps them, ``--against FILE`` fails where one is worse by a fifth than kept.
"""

from __future__ import annotations

import argparse
import json
import sys
from importlib import import_module
from pathlib import Path

#: Modules that write or hold files and are no benchmarks.
NOT_RUN = {"__init__", "__main__", "make_lights", "shelf", "subsets"}
#: How much worse a ratio may be than the one kept.
WORSE = 1.2


def main(words: list[str]) -> None:
    here = sorted(path.stem for path in Path(__file__).parent.glob("*.py"))
    known = [name for name in here if name not in NOT_RUN]
    parser = argparse.ArgumentParser(prog="python -m benchmarks")
    parser.add_argument("names", nargs="*", help=", ".join(known))
    parser.add_argument("--save", type=Path, metavar="FILE")
    parser.add_argument("--against", type=Path, metavar="FILE")
    asked = parser.parse_args(words)
    if unknown := [name for name in asked.names if name not in known]:
        sys.exit(f"no benchmark called {', '.join(unknown)}: there are {', '.join(known)}.")
    ratios: dict[str, float] = {}
    for name in asked.names or known:
        module = import_module(f"benchmarks.{name}")
        title = (module.__doc__ or name).strip().splitlines()[0]
        print(f"\n{name}: {title}\n", flush=True)
        ratios |= {f"{name}: {what}": value for what, value in (module.main() or {}).items()}
    if asked.save:
        asked.save.write_text(json.dumps(ratios, indent=1) + "\n", encoding="utf-8")
    if asked.against:
        sys.exit(worse(ratios, json.loads(asked.against.read_text(encoding="utf-8"))))


def worse(ratios: dict[str, float], kept: dict[str, float]) -> str | None:
    """Which ratios are worse by more than a fifth than those kept, in words; None where none is."""
    lines = [
        f"{what}: {ratios[what]:.4g}, kept {kept[what]:.4g}"
        for what in kept
        if what in ratios and ratios[what] > WORSE * kept[what]
    ]
    return "\n".join(["worse by more than a fifth:", *lines]) if lines else None


if __name__ == "__main__":
    main(sys.argv[1:])
