"""Where templates, static files and demo data lie, and which version this is.

In a checkout they stand at the top of the project; an installed wheel carries them
inside the package, under `_bundle`.
"""

import tomllib
from importlib.metadata import version
from pathlib import Path

PACKAGE = Path(__file__).parent
BUNDLE = PACKAGE / "_bundle"


def folder(name: str) -> Path:
    """This copy's folder `name`: templates, static or demo_data."""
    return (BUNDLE if BUNDLE.is_dir() else PACKAGE.parent) / name


def program_version() -> str:
    """The version installed, or the one the checkout's project file names."""
    if BUNDLE.is_dir():
        return version("tapeline")
    project = (PACKAGE.parent / "pyproject.toml").read_text()
    return str(tomllib.loads(project)["project"]["version"])
