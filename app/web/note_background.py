"""Who a patient is and what they are treated for, as facts of an evaluation."""

from collections.abc import Iterator
from dataclasses import replace

from app.clinical.days import full_day
from app.clinical.deficit import Evidence, Origin
from app.clinical.deficits import Word, findings, lines
from app.clinical.note import Ref
from app.clinical.precautions import PRECAUTIONS
from app.clinical.visit_facts import Background, Said
from app.clinical.vocabulary import CONDITIONS, FALL_QUESTIONS, PERSON_FACTS, SETTINGS
from app.storage.deficits import words_in
from app.storage.precautions import precautions_on
from app.storage.profile import Profile, profile_of
from app.web.deficit_evidence import gather
from app.web.note_done import limits_words
from app.web.note_scene import Scene
from app.web.person_words import age_words, condition_more
from app.web.profile_words import CHOICES
from app.web.result_view import capital

#: The ends of an episode's plan, as a plan of care says them.
PLANS = {
    "restore": "Plan: to restore function",
    "maintain": "Plan: to maintain function, where no loss is a good result",
}


def background_of(scene: Scene) -> Background:
    episode, profile = scene.episode, profile_of(scene.session, scene.episode)
    refs = (Ref("episode", episode.id),)
    reason = f"Reason: {episode.reason}; {SETTINGS[episode.setting]}"
    return Background(
        reason=Said("episode:reason", reason, refs),
        person=_person(scene),
        conditions=tuple(_conditions(scene)),
        living=tuple(_living(scene, profile)),
        matters=_matters(profile),
        precautions=tuple(_precautions(scene)),
        deficits=tuple(deficits_said(scene)),
        plan=Said("episode:plan", PLANS[episode.plan], refs),
    )


def _person(scene: Scene) -> Said:
    """Age on the visit's day, and sex; that the age is not known, too."""
    details = scene.details
    says = age_words(
        details.birth_date, details.birth_year, details.sex, scene.visit.local_date
    )
    return Said("person", f"Person: {says}", (Ref("profile", scene.patient.id),))


def _conditions(scene: Scene) -> Iterator[Said]:
    """Each condition with its side and onset, and the facts that readings rest on."""
    details, refs = scene.details, (Ref("profile", scene.patient.id),)
    facts = [
        f"{key.replace('_', ' ')}: {PERSON_FACTS[key][value]}"
        for key, value in details.facts.items()
        if key != "fall_history"
        and (key != "time_since" or None in details.conditions.values())
    ]
    if not details.conditions and not facts:
        return
    named = [
        " ".join(part for part in (CONDITIONS[c], condition_more(details, c)) if part)
        for c in details.conditions
    ]
    says = f"Diagnoses and what goes with them: {'; '.join([*named, *facts])}"
    yield Said("person:conditions", says, refs)


def _living(scene: Scene, profile: Profile | None) -> Iterator[Said]:
    """Before, at home and falls, each as far as somebody has asked."""
    refs = (Ref("profile", profile.id if profile else scene.patient.id),)
    if profile is not None:
        said = {
            label: words[value]
            for key, (label, words) in CHOICES.items()
            if (value := getattr(profile, key))
        }
        said |= {"Home": profile.home, "Who helps": profile.helper}
        told = [f"{label}: {value}" for label, value in said.items() if value]
        if told:
            yield Said("profile:living", ". ".join(told), refs)
    if falls := list(_falls(scene, profile)):
        yield Said("profile:falls", f"Falls: {'; '.join(falls)}", refs)


def _falls(scene: Scene, profile: Profile | None) -> Iterator[str]:
    history = scene.details.facts.get("fall_history")
    if history:
        yield PERSON_FACTS["fall_history"][history]
    for key, (label, words) in FALL_QUESTIONS.items():
        value = getattr(profile, key, None)
        if value:
            yield f"{label.lower()}: {words[value]}"


def _matters(profile: Profile | None) -> Said | None:
    if profile is None or not profile.matters:
        return None
    says = f"What matters to them: “{profile.matters}”"
    return Said("profile:matters", says, (Ref("profile", profile.id),))


def _precautions(scene: Scene) -> Iterator[Said]:
    """Orders and risks in force on the day, with who set them and their review."""
    day = scene.visit.local_date
    for row in precautions_on(scene.session, scene.episode, day):
        known = PRECAUTIONS[row.tag]
        by = f" by {row.set_by}" if row.set_by else ""
        review = f", review {full_day(row.review_on)}" if row.review_on else ""
        note = f": “{row.note}”" if row.note else ""
        says = f"{known.kind.capitalize()} in force: {known.label} (set{by} on "
        says = f"{says}{full_day(row.set_on)}{review}){note}"
        yield Said(f"precaution:{row.id}", says, (Ref("precaution", row.id),))
    if says := limits_words(scene):
        yield Said("order:limits", says, (Ref("episode", scene.episode.id),))


def deficits_said(scene: Scene) -> Iterator[Said]:
    """The problems that stood on the visit's day, each with its strongest reason."""
    day, shelf = scene.visit.local_date, scene.shelf
    known = gather(
        scene.session, shelf, scene.patient, scene.episode, day, scene.site.zone
    ).evidence
    said = [
        Word(row.deficit, row.word, row.reason, f"{by.name} ({by.role})",
             row.recorded_at)
        for row, by in words_in(scene.session, scene.episode)
        if row.on_date <= day
    ]  # fmt: skip
    found = findings(shelf.deficits, _until(scene, known))
    for line in lines(shelf.deficits, found, said):
        if not line.holds:
            continue
        words = shelf.deficits.named[line.deficit].words
        because = next(iter(line.because), "")
        refs = tuple(_ref(scene, finding.origin) for finding in line.found)
        says = f"Problem: {capital(words)}. {capital(because)}".strip()
        yield Said(f"deficit:{line.deficit}", says, tuple(dict.fromkeys(refs)))


def _until(scene: Scene, known: Evidence) -> Evidence:
    """What was known by the visit's day; answers on record have no day of their own."""
    day = scene.visit.local_date
    return replace(
        known,
        tests=tuple(t for t in known.tests if t.origin.day <= day),
        tasks=tuple(t for t in known.tasks if t.origin.day <= day),
    )


def _ref(scene: Scene, origin: Origin) -> Ref:
    kind, key = origin.ref
    if kind == "answer" or not key.isdigit():
        return Ref("profile", scene.patient.id)
    return Ref(kind, int(key))
