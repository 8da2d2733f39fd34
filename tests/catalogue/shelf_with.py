"""The shipped catalogue and invented files beside it, as somebody would add them."""

import shutil
from pathlib import Path

from app.catalogue.load import FOLDER, Catalogue, load

INVENTED = Path(__file__).parent / "invented"


def shelf_with(folder: Path, *names: str) -> Catalogue:
    """A copy of the catalogue in `folder` with these files added, and read."""
    shutil.copytree(FOLDER / "measures", folder / "measures")
    shutil.copy(FOLDER / "facts.toml", folder)
    for name in names:
        shutil.copy(INVENTED / f"{name}.toml", folder / "measures")
    return load(folder)
