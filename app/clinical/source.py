"""A publication as the catalogue cites it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Source:
    """A publication. Where a row was read stands in the row, not here."""

    key: str
    authors: str
    title: str
    journal: str
    year: int | None = None
    volume: str = ""
    pages: str = ""
    doi: str = ""
    pmid: str = ""

    @property
    def short(self) -> str:
        """First author and year, as a therapist would cite it."""
        if self.authors.startswith("("):
            common = self.key.startswith("common_practice")
            named = "Common practice" if common else "Authors not shown"
            return f"{named} {self.year}" if self.year and not common else named
        first = self.authors.split(",")[0].split(" et al")[0].split(" and others")[0]
        name = (
            first.rsplit(" ", 1)[0] if " " in first and first[-1].isupper() else first
        )
        return f"{name} {self.year}" if self.year else name
