"""What the form of a home sheet says, and what is missing in it."""

import re
from collections.abc import Collection, Mapping
from decimal import Decimal
from typing import Final

from app.clinical import home_sheet as words
from app.clinical.activity import Activity
from app.identifiers import looks_like
from app.storage.home_sheets import SheetBody, SheetItem
from app.web.deps import Form

_GRADE: Final = re.compile(r"-?\d{1,3}(\.\d{1,2})?", re.ASCII)


def chosen(form: Form) -> list[str]:
    """The activities that were ticked, in order, each once."""
    return list(dict.fromkeys(v for k, v in form.pairs if k == "activity"))


def sheet_body(
    form: Form,
    activities: Mapping[str, Activity],
    in_force: Collection[str],
    errors: dict[str, str],
    stopped: Mapping[str, str],
) -> SheetBody | None:
    """What is to be handed over; None when `errors`, by field, says what is wrong."""
    said = SheetBody(
        helper=_one_of(form, "helper", words.HELPERS, "Say who helps.", errors),
        home_change=_one_of(
            form, "home_change", words.CHANGES,
            "Choose one change at home: a sheet carries one.", errors,
        ),
        change_words=_change_words(form, errors),
        items=_items(form, activities, in_force, errors, stopped),
    )  # fmt: skip
    return None if errors else said


def _one_of(
    form: Form, name: str, known: Collection[str], wrong: str, errors: dict[str, str]
) -> str:
    if form.text(name) not in known:
        errors[name] = wrong
    return form.text(name)


def _change_words(form: Form, errors: dict[str, str]) -> str:
    """Words count only beside `other`. A doubt about them is asked, never refused."""
    said = " ".join(form.text("change_words").split())
    if form.text("home_change") != "other":
        return ""
    if not 1 <= len(said) <= words.LONGEST_CHANGE:
        errors["change_words"] = f"Say it in up to {words.LONGEST_CHANGE} letters."
    elif looks_like(said) and form.text("sure") != "yes":
        errors["change_words"] = (
            f"This looks like {', '.join(looks_like(said))}, and the sheet is read by "
            "others. Take it out, or tick that it tells of nobody."
        )
    return said


def _items(
    form: Form,
    activities: Mapping[str, Activity],
    in_force: Collection[str],
    errors: dict[str, str],
    stopped: Mapping[str, str],
) -> tuple[SheetItem, ...]:
    wanted = chosen(form)
    known = [activities[key] for key in wanted if key in activities]
    refused = [
        f"{activity.name}: {reason}"
        for activity in known
        for reason in words.against(activity, in_force, stopped)
    ]
    if not wanted:
        errors["activity"] = "Choose at least one activity."
    elif len(wanted) > words.MOST_ACTIVITIES:
        errors["activity"] = f"At most {words.MOST_ACTIVITIES}: a sheet is one page."
    elif len(known) < len(wanted):
        errors["activity"] = "Choose from the list."
    elif refused:
        errors["activity"] = " ".join(refused)
    return tuple(_item(form, activity, errors) for activity in known)


def _item(form: Form, activity: Activity, errors: dict[str, str]) -> SheetItem:
    key = activity.id
    if form.text(f"taught-{key}") != "yes":
        errors[f"taught-{key}"] = "Only after the helper showed it back to you safely."
    return SheetItem(
        activity=key,
        grade=_grade(form, activity, errors),
        sets=_count(form, f"sets-{key}", words.MOST_SETS, errors),
        times_a_week=_count(form, f"times-{key}", words.MOST_TIMES_A_WEEK, errors),
        taught_back=form.text(f"taught-{key}") == "yes",
    )


def _grade(form: Form, activity: Activity, errors: dict[str, str]) -> str:
    name, grade = f"grade-{activity.id}", activity.grade
    typed = form.text(name)
    value = Decimal(typed) if _GRADE.fullmatch(typed) else None
    named = bool(grade.rungs) and value is not None and value != int(value)
    if value is not None and grade.within(value) and not named:
        return f"{value.normalize():f}"
    low, high = sorted((grade.easiest, grade.hardest))
    errors[name] = f"A number from {low.normalize():f} to {high.normalize():f}."
    return ""


def _count(form: Form, name: str, most: int, errors: dict[str, str]) -> int:
    typed = form.text(name)
    if re.fullmatch(r"\d{1,2}", typed, re.ASCII) and 1 <= int(typed) <= most:
        return int(typed)
    errors[name] = f"A whole number from 1 to {most}."
    return 0
