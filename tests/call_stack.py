"""Which modules of dyemix stand on the call stack at once, at the deepest."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FrameType
from typing import Any


def deepest_stack(work: Callable[[], Any]) -> list[str]:
    """Call `work`; the longest list of distinct modules between a call and its return.

    In the order in which they were entered. The package's own door, ``dyemix``, is not counted.
    """
    stack: list[str] = []  # of dyemix alone: what lies between counts for nothing
    deepest: list[str] = []

    def watch(frame: FrameType, event: str, _: Any) -> None:
        nonlocal deepest
        name = frame.f_globals.get("__name__", "")
        if not name.startswith("dyemix."):
            return
        if event == "call":
            stack.append(name)
            if len(stack) > len(deepest) and len(set(stack)) > len(deepest):
                deepest = list(dict.fromkeys(stack))
        elif event == "return" and stack:
            stack.pop()

    sys.setprofile(watch)
    try:
        work()
    finally:
        sys.setprofile(None)
    return deepest
