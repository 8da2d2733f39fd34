"""One source has one bibliography, whichever file cites it."""

from collections.abc import Mapping

from app.catalogue.fields import CatalogueError
from app.clinical.source import Source


def sources_agree(cited: Mapping[str, Mapping[str, Source]]) -> None:
    """One source key has one bibliography in all files. `cited`: sources by file."""
    seen: dict[str, tuple[Source, str]] = {}
    for name, sources in cited.items():
        for source in sources.values():
            first, where = seen.setdefault(source.key, (source, name))
            if first != source:
                raise CatalogueError(
                    f"{name}: source {source.key}: differs from {where}"
                )
