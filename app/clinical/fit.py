"""Whether a published row speaks of this person and this set-up, and what differs.

A stated fact that differs excludes; an unstated fact of the person does not: it becomes
an assumption. Nothing is matched to the nearest row: a row fits or says what differs.
"""

from dataclasses import dataclass, field

from app.clinical import vocabulary as words
from app.clinical.clauses import any_met, unknown, unmet
from app.clinical.kept import once_a_row
from app.clinical.measure import Fit, Measure
from app.clinical.person import Person
from app.clinical.scoring import Score
from app.clinical.setup import any_of_words, deviations

#: Ages meant by "older adults" when a row states none.
OLDER = 60

#: Row settings that speak of a person in a setting: people seen at home, as outpatients
#: or by home care all live in the community; a ward is an inpatient place.
_SPEAKS_OF = {
    "community": {"community", "home_care", "outpatient"},
    "home_care": {"home_care", "community"},
    "outpatient": {"outpatient", "community"},
    "day_hospital": {"day_hospital", "outpatient", "community"},
    "sheltered_housing": {"sheltered_housing", "community"},
    "institution": {"institution"},
    "acute": {"acute", "inpatient"},
    "inpatient": {"inpatient", "acute"},
}


@dataclass(frozen=True, slots=True)
class Match:
    """`differs` empty: the row fits, under `assumed`.

    `near`: differs in one way only, so worth showing under "not matched".
    `only_setup`: the set-up alone keeps it from fitting.
    """

    differs: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    near: bool = True
    only_setup: bool = False

    @property
    def fits(self) -> bool:
        return not self.differs


@dataclass(slots=True)
class _Findings:
    differs: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    kinds: set[str] = field(default_factory=set)
    far: bool = False

    def off(self, kind: str, says: str) -> None:
        self.kinds.add(kind)
        self.differs.append(says)


class Matching:
    """One score of one person, held to many rows: its set-up is looked at once."""

    def __init__(self, measure: Measure, person: Person, score: Score) -> None:
        self.measure, self.person, self.score = measure, person, score
        self.off = deviations(measure, score.facts)

    def match(self, fit: Fit, *, strict: bool = False) -> Match:
        """Compare one row's key with the person and the score.

        `strict` is for error rows: general samples do not speak of a person whose
        condition changes how steady a repeat is.
        """
        return self._about_score(fit, _about_person(fit, self.person, strict), strict)

    def worth_showing(self, fit: Fit, *, strict: bool = False) -> Match | None:
        """The same, but None for a row that neither fits nor is near.

        Most rows speak of other people, and are done with at the first thing that
        tells so.
        """
        person = self.person
        if _other_condition(fit, person) or _other_sex(fit, person):
            return None
        found = _about_person(fit, person, strict)
        if found.far or len(found.kinds) > 1:
            return None
        made = self._about_score(fit, found, strict)
        return made if made.fits or made.near else None

    def _about_score(self, fit: Fit, found: _Findings, strict: bool) -> Match:
        _setup(self, fit, found, strict)
        _variant(self.measure, fit, self.score, found)
        _limits(fit, self.score, found)
        return _made(found)


def match(measure: Measure, fit: Fit, person: Person, score: Score) -> Match:
    """Compare one row's key with a person and a score."""
    return Matching(measure, person, score).match(fit)


def match_person(fit: Fit, person: Person, *, strict: bool = False) -> Match:
    """The same for a row that speaks of people and of no test, e.g. a base rate."""
    return _made(_about_person(fit, person, strict))


def _about_person(fit: Fit, person: Person, strict: bool) -> _Findings:
    found = _Findings()
    _condition(fit, person, found, strict)
    _age(fit, person, found)
    _sex(fit, person, found)
    _setting(fit, person, found)
    _person_facts(fit, person, found)
    return found


def _made(found: _Findings) -> Match:
    near = not found.far and len(found.kinds) <= 1
    return Match(
        tuple(found.differs), tuple(found.assumed), near, found.kinds == {"setup"}
    )


def _other_condition(fit: Fit, person: Person) -> bool:
    return fit.condition in words.CONDITIONS and fit.condition not in person.conditions


def _other_sex(fit: Fit, person: Person) -> bool:
    return fit.sex is not None and person.sex is not None and fit.sex != person.sex


def _condition(fit: Fit, person: Person, found: _Findings, strict: bool) -> None:
    if _other_condition(fit, person):
        label = words.CONDITIONS[fit.condition]
        found.off("condition", f"measured in people with {label}")
        found.far = True
    elif strict and person.conditions and fit.condition in ("none", "older_adult"):
        label = words.CONDITIONS[person.conditions[0]]
        found.off("condition", f"measured in people without {label}")


@once_a_row
def _bounds(fit: Fit) -> tuple[int | None, int | None]:
    older = fit.condition in ("none", "older_adult") and not fit.ages_unknown
    if older and fit.age_min is None and fit.age_max is None:
        return OLDER, None
    return fit.age_min, fit.age_max


def _age(fit: Fit, person: Person, found: _Findings) -> None:
    low, high = _bounds(fit)
    if fit.ages_unknown:
        found.off("age", "ages of that sample are not stated")
        return
    if low is None and high is None:
        if fit.condition in words.CONDITIONS and person.ages:
            found.assumed.append("ages of that sample are not stated")
        return
    inside = [a for a in person.ages if (low or 0) <= a <= (high or 999)]
    if not person.ages:
        found.assumed.append(f"if aged {_span(low, high)}")
    elif not inside:
        found.off("age", f"ages {_span(low, high)}")
        gap = max((low or 0) - person.ages[-1], person.ages[0] - (high or 999))
        found.far = found.far or gap > 10
    elif len(inside) < len(person.ages):
        word = "already" if inside[0] == person.ages[-1] else "still"
        found.assumed.append(f"if {word} {inside[0]}")


def _span(low: int | None, high: int | None) -> str:
    if low is None:
        return f"up to {high}"
    return f"{low} and over" if high is None else f"{low} to {high}"


def _sex(fit: Fit, person: Person, found: _Findings) -> None:
    if fit.sex is None:
        return
    if person.sex is None:
        found.assumed.append(f"if a {words.SEXES[fit.sex]}")
    elif _other_sex(fit, person):
        found.off("sex", f"sex: {words.SEXES[fit.sex]} only")
        found.far = True


def _setting(fit: Fit, person: Person, found: _Findings) -> None:
    if not fit.settings:
        return
    if person.setting in fit.settings:
        return
    said = _settings_words(fit)
    if person.setting is None:
        found.assumed.append(f"if {said}")
    elif _SPEAKS_OF[person.setting].isdisjoint(fit.settings):
        found.off("setting", f"setting: {said}")
    else:
        found.assumed.append(f"measured in another setting: {said}")


@once_a_row
def _settings_words(fit: Fit) -> str:
    return " or ".join(words.SETTINGS[s] for s in fit.settings)


def _person_facts(fit: Fit, person: Person, found: _Findings) -> None:
    for key, wanted in fit.requires_person.items():
        labels = words.PERSON_FACTS[key]
        said = " or ".join(labels[v] for v in wanted)
        stated = person.stated(key, fit.condition)
        fitting = [value for value in stated if value in wanted]
        if not stated:
            found.assumed.append(f"if {said}")
        elif not fitting:
            found.off(key, f"{key.replace('_', ' ')}: {said}")
        elif len(fitting) < len(stated):
            found.assumed.append(f"if {said}: the date it began leaves that open")


def _setup(held: Matching, fit: Fit, found: _Findings, strict: bool) -> None:
    measure, score = held.measure, held.score
    for off in held.off:
        if off.key in fit.requires:
            continue
        if strict:  # two tests in one unusual set-up are still compared
            found.assumed.append("error as in the published set-up")
        else:
            found.off("setup", off.says)
    device = score.facts.get("device", "none")
    if (
        not strict
        and fit.group == "healthy"
        and device != "none"
        and "device" not in fit.requires
    ):
        found.off("setup", "measured in healthy people without a walking device")
    for key, wanted in fit.requires.items():
        fact = measure.fact(key)
        if fact is None:
            continue
        said = any_of_words(fact, wanted)
        stated = score.facts.get(key)
        usual = fact.standard or ((fact.default,) if fact.default else ())
        if stated is None and (not usual or set(usual) & set(wanted)):
            found.assumed.append(f"if {said}")
        elif stated is None or stated not in wanted:
            found.off("setup", f"{said} in that source")


def _variant(measure: Measure, fit: Fit, score: Score, found: _Findings) -> None:
    wanted = fit.variant
    if wanted is None or wanted == score.variant or wanted in score.beside:
        return
    found.off("variant", f"trial rule: {measure.variant(wanted).label}")


def _limits(fit: Fit, score: Score, found: _Findings) -> None:
    """What else must be true of the score; what nobody measured is assumed."""
    if fit.when_any and not any_met(fit.when_any, score):
        found.off("limit", "only where " + " or ".join(c.says for c in fit.when_any))
    for clause in unmet(fit.when_all, score):
        found.off("limit", f"only where {clause.says}")
    found.assumed += [f"if {c.says}" for c in unknown(fit.when_all, score)]
