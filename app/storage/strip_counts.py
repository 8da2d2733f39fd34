"""Whether an answer about the strip may stand when a visit is left. Common practice.

A strap that stays behind with somebody who may harm themselves, or who is confused, is
a hazard to life: it stays only with a taught helper at the person's own home.
"""

from typing import Final

from sqlmodel import Session

from app.clinical.precautions import PRECAUTIONS
from app.storage.activity_sets import sets_in
from app.storage.episodes import Episode, Visit
from app.storage.home_sheets import current_sheet
from app.storage.precautions import precautions_on

#: Settings of an episode in which the visit is at the person's own home.
AT_HOME: Final = ("community", "home_care", "sheltered_housing")
#: With these in force no strip stays.
NEVER_LEFT: Final = ("ligature_risk", "entanglement")
USED: Final = "An activity was done in this visit: say where the strip is now."


def refusal(session: Session, visit: Visit, answer: str) -> str:
    """Why this answer may not stand; empty when it may."""
    if answer in ("none_used", "not_applicable"):
        return USED if sets_in(session, visit) else ""
    if answer == "left_with_helper":
        return leaving_refused(session, visit)
    return ""


def leaving_refused(session: Session, visit: Visit) -> str:
    """Why the strip may not be left with a helper; empty when it may."""
    episode = session.get_one(Episode, visit.episode_id)
    held = [p.tag for p in precautions_on(session, episode, visit.local_date)]
    for tag in NEVER_LEFT:
        if tag in held:
            return f"The strip may not stay: {PRECAUTIONS[tag].label} is in force."
    if episode.setting not in AT_HOME:
        return "The strip may not stay: only at the person's own home, by plan."
    if current_sheet(session, episode.patient_id) is None:
        return "The strip may not stay: no home sheet is current."
    return ""


def counts_in_and_out(session: Session, visit: Visit) -> bool:
    """Whether the strip is a ligature risk here: counted in, and counted out first."""
    episode = session.get_one(Episode, visit.episode_id)
    held = precautions_on(session, episode, visit.local_date)
    return any(p.tag == "ligature_risk" for p in held)
