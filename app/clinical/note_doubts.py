"""What a reader would stumble over in a note; it changes nothing and refuses nothing.

Each doubt says what to write instead. A judgement stays the therapist's: the program
only sees words. What it counts as empty and its 90 % are common practice.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from types import MappingProxyType
from typing import Final

from app.clinical.abbreviations import hits
from app.clinical.note import SECTIONS, Written
from app.clinical.note_numbers import numbers, unsupported

#: From this share of words on, a text is called the last visit's. Common practice.
SAME_PERCENT: Final = 90

_QUOTE: Final = re.compile(r"“[^”]*”|(?<!\d)\"[^\"\n]*\"")
_WORD: Final = re.compile(r"[\w.,:/%-]*\w%?")
_SENTENCE: Final = re.compile(r"(?<=[.!?;])\s+|\n")
_NUMBER_ENOUGH: Final = ("no_change", "limits")


@dataclass(frozen=True, slots=True)
class NoteDoubt:
    """One doubt. `key` is that of the line it is about, empty for the whole note.

    `found` is the piece of text it is about, if there is one; `kind` the sort of doubt.
    """

    key: str
    says: str
    found: str = ""
    kind: str = ""


def _phrase(pattern: str, instead: str) -> tuple[re.Pattern[str], str]:
    return re.compile(rf"\b(?:{pattern})", re.IGNORECASE), instead


#: What says nothing to a reader who was not there, and what to write in its place.
EMPTY: Final = MappingProxyType(
    {
        "tolerated": _phrase(
            r"tolerat(?:ed|es|ing)\b(?: [\w'’]+){0,4}? well\b",
            "what was seen: effort, symptoms, vital signs, rests",
        ),
        "good_session": _phrase(
            r"good (?:session|visit|treatment)\b", "what could be done, with its number"
        ),
        "continue": _phrase(
            r"continued? (?:as planned|as before|with plan|with the plan|(?:the )?plan"
            r"(?: of care)?|POC)\b(?! (?:to|with|of|for)\b)",
            "what changes next time, and what would end it",
        ),
        "no_change": _phrase(
            r"no changes?\b(?! (?:in|of|to) (?:the )?"
            r"(?:device|medic|order|set-?up|plan))|unchanged\b",
            "the number then and the number now",
        ),
        "did_great": _phrase(
            r"(?:patient|pt\.?|client|he|she|they) did (?:great|well|good|fine)\b",
            "what was done, with how much help",
        ),
        "as_above": _phrase(r"(?:as|see) above\b", "it again, for this line"),
        "limits": _phrase(
            r"within (?:functional|normal) limits(?!\s(?:for|to|in|at|of)\s\w)",
            "of what: a number, or the task it is enough for",
        ),
    }
)  # fmt: skip
_ALONE: Final = re.compile(r"\bindependent(?:ly)?\b", re.IGNORECASE)
_CUED: Final = re.compile(r"\b(?:cue[sd]?|cueing|cuing|prompt(?:s|ed|ing)?)\b", re.I)
_UNCUED: Final = re.compile(
    r"\b(?:no|without|0|zero|not need(?:ing)?|no longer need(?:s|ing)?)"
    r"(?: (?:any|more|\w+al|tactile))?,? (?:cue[sd]?|cueing|cuing|prompts?)\b",
    re.IGNORECASE,
)
#: Words of wishes, aims and denials: there "independent" is no finding.
_AIM: Final = re.compile(
    r"\b(?:will|goals?|target|until|become|towards?|wants?|hopes?|not|prior"
    r"|previously)\b",
    re.IGNORECASE,
)
#: The words by which a sentence is about one task of the day.
_TASKS: Final = MappingProxyType(
    {
        "toileting": (r"toileting",),
        "dressing the upper body": (r"dress", r"upper"),
        "dressing the lower body": (r"dress|trousers", r"lower|trousers"),
        "bathing": (r"bath(?:ing|es?|ed)\b",),
        "grooming": (r"groom",),
        "eating": (r"\b(?:eat|feed)",),
        "moving in bed": (r"\bbed mobility|\bmov\w+ in bed",),
        "transfer to the bed": (r"transfer", r"\bbed\b"),
        "transfer to the chair": (r"transfer", r"\bchair\b"),
        "transfer to the toilet": (r"transfer", r"\btoilet\b"),
        "transfer to tub or shower": (r"transfer", r"\b(?:tub|shower)\b"),
        "transfer to the car": (r"transfer", r"\bcar\b"),
        "walking to the bathroom": (r"\bwalk", r"bathroom"),
        "stairs": (r"\bstairs?\b",),
        "a kitchen task": (r"kitchen",),
        "handling medication": (r"medication",),
    }
)


def doubts(
    written: Sequence[Written], last_text: str, events_text: str = ""
) -> tuple[NoteDoubt, ...]:
    """Everything to look at: first of the whole note, then line by line.

    `last_text` is the final text of the last visit's note, empty where there is none.
    Behind a number stand all made lines, and `events_text` where there is more.
    """
    whole = "\n".join(one.text for one in written if one.text)
    behind = "\n".join([*(one.line.made for one in written), events_text])
    return (
        *_same_as_last(whole, last_text),
        *_across_lines(written),
        *(
            doubt
            for one in written
            for doubt in (
                *_missing(one),
                *_empty_phrases(one),
                *_within_line(one),
                *_without_event(one, behind),
            )
        ),
        *_short_forms(written, whole),
    )


def _same_as_last(now: str, last: str) -> Iterator[NoteDoubt]:
    """At least 90 of 100 words alike, in their order; the headings do not count."""
    was, words = _words(last), _words(now)
    if not was or not words:
        return
    blocks = SequenceMatcher(None, was, words, autojunk=False).get_matching_blocks()
    alike, both = 2 * sum(block.size for block in blocks), len(was) + len(words)
    if alike * 100 < SAME_PERCENT * both:
        return
    kept, before = numbers(now), set(numbers(last))
    same = sum(1 for number in kept if number in before)
    told = f", and {same} of its {len(kept)} numbers" if kept else ""
    says = (
        f"{alike * 100 // both} % of the words stand in the last visit's note as "
        f"well{told}. Write what was different today. ({SAME_PERCENT} % and more is "
        "pointed out: common practice)"
    )
    yield NoteDoubt("", says, kind="same")


def _words(text: str) -> list[str]:
    headings = {f"{name}:" for name in SECTIONS.values()}
    lines = (line for line in text.splitlines() if line.strip() not in headings)
    return [word.lower() for line in lines for word in _WORD.findall(line)]


def _missing(one: Written) -> Iterator[NoteDoubt]:
    if one.line.needed and not one.text.strip():
        asks = one.line.asks or f"Something for {SECTIONS[one.line.section].lower()}."
        yield NoteDoubt(one.line.key, f"Still missing: {asks}", kind="missing")


def _empty_phrases(one: Written) -> Iterator[NoteDoubt]:
    has_numbers = bool(numbers(one.text))
    for sentence in _SENTENCE.split(one.text):
        for kind, (pattern, instead) in EMPTY.items():
            if kind in _NUMBER_ENOUGH and has_numbers:
                continue
            for match in pattern.finditer(sentence):
                says = (
                    f"“{match[0]}” says nothing to who was not there: write {instead}."
                )
                quoted = _is_quoted(sentence, match.start())
                yield NoteDoubt(one.line.key, _said(says, quoted), match[0], kind)


def _is_quoted(text: str, place: int) -> bool:
    return any(m.start() < place < m.end() for m in _QUOTE.finditer(text))


def _said(says: str, quoted: bool) -> str:
    """A quote is marked too; only whoever heard it can say whether it stands so."""
    if not quoted:
        return says
    return f"In a quote: leave it if these were the words. Else: {says}"


def _short_forms(written: Sequence[Written], whole: str) -> Iterator[NoteDoubt]:
    """Each form once for a line; what is about the whole note once for the note."""
    told: set[tuple[str, str]] = set()
    for one in written:
        for hit in hits(one.text, made=one.line.made, whole=whole):
            once = hit.row.unless or hit.row.only_with
            mark = ("" if once else f"{one.line.key} {hit.found}", hit.row.key)
            if mark in told:
                continue
            told.add(mark)
            says = _said(hit.row.says(hit.found), _is_quoted(one.text, hit.start))
            yield NoteDoubt(one.line.key, says, hit.found, hit.row.key)


def _alone(sentence: str) -> bool:
    return bool(_ALONE.search(sentence)) and not _AIM.search(sentence)


def _cued(sentence: str) -> bool:
    return bool(_CUED.search(_UNCUED.sub("", sentence)))


def _observed(one: Written) -> list[str]:
    """The sentences that state what was seen; a plan states none, nor does a quote."""
    if one.line.section not in ("objective", "assessment"):
        return []
    return _SENTENCE.split(_QUOTE.sub("", one.text))


def _within_line(one: Written) -> Iterator[NoteDoubt]:
    for sentence in _observed(one):
        if _alone(sentence) and _cued(sentence):
            says = (
                "Independent and cued: cueing is supervision. Write the level that "
                "held, with the kind and number of cues."
            )
            yield NoteDoubt(one.line.key, says, sentence.strip(), "contradiction")


def _across_lines(written: Sequence[Written]) -> Iterator[NoteDoubt]:
    for task, about in _TASKS.items():
        alone, cued = [], []
        for one in written:
            for sentence in _observed(one):
                if all(re.search(word, sentence, re.IGNORECASE) for word in about):
                    alone += [(one, sentence)] * (
                        _alone(sentence) and not _cued(sentence)
                    )
                    cued += [sentence] * (_cued(sentence) and not _alone(sentence))
        if alone and cued:
            line, sentence = alone[0]
            says = (
                f"One line says independent, another says cued, both of {task}. Write "
                "which level held, or when each did."
            )
            yield NoteDoubt(line.line.key, says, sentence.strip(), "contradiction")


def _without_event(one: Written, behind: str) -> Iterator[NoteDoubt]:
    """Only of what was seen and judged: a plan's numbers are not events yet."""
    if not one.own or one.line.section not in ("objective", "assessment"):
        return
    for number in unsupported(_QUOTE.sub("", one.text), behind):
        says = (
            f"{number}: nothing recorded in this visit says it. Record it, write the "
            "number that was recorded, or say where it comes from."
        )
        yield NoteDoubt(one.line.key, says, number, "no_event")
