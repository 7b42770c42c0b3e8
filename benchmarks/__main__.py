"""Run every benchmark: ``python -m benchmarks``, or only those named after it."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

#: Modules that write or hold files and are no benchmarks.
NOT_RUN = {"__init__", "__main__", "make_lights", "shelf", "subsets"}


def main(names: list[str]) -> None:
    here = sorted(path.stem for path in Path(__file__).parent.glob("*.py"))
    known = [name for name in here if name not in NOT_RUN]
    if unknown := [name for name in names if name not in known]:
        sys.exit(f"no benchmark called {', '.join(unknown)}: there are {', '.join(known)}.")
    for name in names or known:
        module = import_module(f"benchmarks.{name}")
        title = (module.__doc__ or name).strip().splitlines()[0]
        print(f"\n{name}: {title}\n", flush=True)
        module.main()


if __name__ == "__main__":
    main(sys.argv[1:])
