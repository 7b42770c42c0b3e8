"""Where `dyemix` starts: nothing is imported yet, so that Ctrl-C ends it quietly from here on."""

import os
import signal
import sys


def main() -> None:
    """Run the command line and leave with its exit code."""
    signal.signal(signal.SIGINT, lambda *_: os._exit(130))  # nothing has been begun
    from dyemix.cli.commands import run
    from dyemix.console import guarded, interrupt, unraisable

    def work() -> None:
        sys.unraisablehook = unraisable
        signal.signal(signal.SIGINT, interrupt)
        try:
            run(sys.argv[1:])
        finally:  # it has answered, and only lets go of what it holds
            signal.signal(signal.SIGINT, signal.SIG_IGN)

    sys.exit(guarded(work))


if __name__ == "__main__":
    main()
