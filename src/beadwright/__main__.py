"""`python -m beadwright`, and the installed command."""

import os
import signal

from beadwright.errors import INTERRUPTED


def main() -> None:
    """Run the command; an interruption while it is still being loaded ends quietly, too."""
    signal.signal(signal.SIGTERM, lambda *_: os._exit(INTERRUPTED))
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:  # as a job in the background has it
        signal.signal(signal.SIGINT, lambda *_: os._exit(INTERRUPTED))
    from beadwright.cli import run

    run()


if __name__ == "__main__":
    main()
