"""From a press on + to the new patch on the page, in Chromium: ``python -m benchmarks.press``.

The time runs from the click until the patch has its new colour in the document, over presses one by
one on the demo's twelve dyes; beside it, in the same run, what one bare request for a small file
takes. 100 ms are felt as at once (Nielsen, Usability Engineering, 1993, ch. 5, from memory).
"""

from __future__ import annotations

import shutil
import threading
from urllib.parse import urlencode

import numpy as np

import dyemix

PRESSES, WARM = 200, 10
MIX = "marigold 0.42 + navy 0.22 + black 0.074"
_PRESS = """async () => {
  const code = () => document.querySelector('.stays .lies').getAttribute('fill');
  const had = code(), began = performance.now();
  await new Promise((seen) => {
    const watch = new MutationObserver(() => {
      if (code() !== had) { watch.disconnect(); seen(); }
    });
    watch.observe(document.body, {childList: true, subtree: true});
    document.querySelector('[data-key=%s]').click();
  });
  const took = performance.now() - began;
  while (document.body.classList.contains('waiting')) await new Promise(requestAnimationFrame);
  return took;
}"""
_BARE = """async () => {
  const began = performance.now();
  await (await fetch('/static/icon.svg')).text();
  return performance.now() - began;
}"""


def main() -> None:
    """Print both in milliseconds, and their ratio."""
    from playwright.sync_api import sync_playwright
    from uvicorn import Config, Server

    from dyemix.page.app import application
    from dyemix.page.server import listening

    ear = listening(0)
    port = ear.getsockname()[1]
    page = application(dyemix.fit(dyemix.demo()), None, port)
    server = Server(Config(page, log_level="warning"))
    threading.Thread(target=server.run, kwargs={"sockets": [ear]}, daemon=True).start()
    query = urlencode({"wanted": "#7d8a6e", "recipe": MIX, "stood": MIX, "quiet": MIX})
    pins = urlencode([("pins", f"pot {i}|{MIX}") for i in range(6)])
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        tab = browser.new_page()
        tab.goto(f"http://127.0.0.1:{port}/jars?{query}&{pins}")
        pressed = [
            float(tab.evaluate(_PRESS % ("more-0" if i % 8 < 4 else "less-0")))
            for i in range(PRESSES + WARM)
        ]
        bare = [float(tab.evaluate(_BARE)) for _ in range(PRESSES + WARM)]
        browser.close()
    server.should_exit = True
    print(f"{'ms':<28} median   95 %")
    rows = {"press to patch": pressed[WARM:], "one bare request": bare[WARM:]}
    press, request = (np.quantile(times, [0.5, 0.95]) for times in rows.values())
    for name, ends in zip((*rows, "ratio"), (press, request, press / request), strict=True):
        print(f"{name:<28} {ends[0]:6.1f} {ends[1]:6.1f}")


if __name__ == "__main__":
    main()
