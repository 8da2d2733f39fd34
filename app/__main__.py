"""`python -m app` is the `tapeline` command."""

import gc
import sys


def main() -> int:
    """Load the program, and run what the command line says.

    All that is loaded stays, so no sweep for garbage looks through it: neither while
    half a million things are made, a fifth of a start, nor later beneath a page.
    """
    gc.disable()
    from app.cli import main as run

    gc.freeze()
    gc.enable()
    return run()


if __name__ == "__main__":
    sys.exit(main())
