"""trials.csv, scores.csv and readings.csv of some patients, told of one moment."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.exports.caseload_csv import scores_csv
from app.exports.content_hash import Hashing
from app.exports.readings_csv import ReadRound, readings_csv
from app.exports.trials_csv import trials_csv
from app.storage.patients import Patient
from app.web.exporting import (
    Named,
    Told,
    exported_rounds,
    exported_scores,
    in_silence,
)
from app.web.judging import Ask
from app.web.rejudging import judged_all
from app.web.released import released

Members = Iterator[tuple[str, Iterator[str]]]


@dataclass(slots=True)
class Tables:
    """One export on its way; `rows` and `hash` tell of it once it is written."""

    session: Session
    shelf: Catalogue
    named: Named
    demo: bool
    progress: Told = in_silence
    rows: dict[str, int] = field(default_factory=dict)
    _hashing: Hashing = field(default_factory=Hashing)

    @property
    def hash(self) -> str:
        """Over the rounds: the same of trials.csv as of scores.csv."""
        return self._hashing.hash

    def members(self) -> Members:
        """Each file by its name, in lines."""
        rounds = exported_rounds(
            self.session, self.shelf, self.named, demo=self.demo,
            progress=self.progress,
        )  # fmt: skip
        scores = exported_scores(
            self.session, self.shelf, self.named, demo=self.demo,
            progress=self.progress,
        )  # fmt: skip
        hashed = self._hashing.passing(scores)
        yield "trials.csv", self._counted("trials.csv", trials_csv(rounds))
        yield "scores.csv", self._counted("scores.csv", scores_csv(hashed))
        readings = readings_csv(self._read())
        yield "readings.csv", self._counted("readings.csv", readings)

    def contents(self) -> Iterator[str]:
        """What the files hold, once they are written."""
        for name, number in self.rows.items():
            yield f"{name}: {number} {'row' if number == 1 else 'rows'}\r\n"
        yield f"content of trials.csv and of scores.csv, sha256: {self.hash}\r\n"

    def _counted(self, name: str, lines: Iterator[str]) -> Iterator[str]:
        """All lines; the first holds the columns."""
        self.rows[name] = -1
        for line in lines:
            self.rows[name] += 1
            yield line

    def _read(self) -> Iterator[ReadRound]:
        """Every score as it is read on its page, but as if what is left out had not
        been: no reading of a file rests on what is not in it."""
        for done, (label, patient_id) in enumerate(self.named, 1):
            held = released(self.session, patient_id)
            numbers = {kept.round.id: number for number, kept in held.numbered}
            for each in judged_all(
                self.session,
                self.shelf,
                self.session.get_one(Patient, patient_id),
                held=held.holds_round,
                ask=Ask(self.shelf.base.rates, None),
            ):
                if each.result is not None:
                    yield ReadRound(
                        label, each.on_date, numbers[each.round.id], each.result,
                        self.shelf.edition, self.demo,
                    )  # fmt: skip
            self.session.expunge_all()
            self.progress(done, len(self.named))
