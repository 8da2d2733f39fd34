"""Where templates, static files and demo data lie.

In a checkout they stand at the top of the project; an installed wheel carries them
inside the package, under `_bundle`.
"""

from pathlib import Path

PACKAGE = Path(__file__).parent
BUNDLE = PACKAGE / "_bundle"


def folder(name: str) -> Path:
    """This copy's folder `name`: templates, static or demo_data."""
    return (BUNDLE if BUNDLE.is_dir() else PACKAGE.parent) / name
