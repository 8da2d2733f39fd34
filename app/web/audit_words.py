"""Deeds and their subjects in words, as the audit trail tells them."""

from typing import Final

#: What somebody did, after their name. A test holds that every deed has its words.
DEEDS: Final = {
    "added_patient": "added a patient",
    "added_person": "added somebody who works here",
    "archived_patient": "archived a patient",
    "assigned": "assigned a patient",
    "began_cover": "began to cover for a colleague",
    "changed_person": "changed a name or a role",
    "closed_episode": "closed a stretch of care",
    "closed_patient": "closed a patient",
    "discarded_held": "discarded a form that was kept",
    "edited_episode": "changed a stretch of care",
    "edited_patient": "changed what is known of a patient",
    "ended_cover": "ended a cover",
    "ended_precaution": "lifted a precaution",
    "ended_sign_in": "ended a sign-in",
    "exported_caseload": "exported the caseload",
    "folded_patient": "folded a double entry into another patient",
    "forgot_pin": "gave a PIN wrong too often: it was forgotten",
    "held_request": "kept a form that was sent after a session had ended",
    "imported_caseload": "imported a caseload file",
    "imported_round": "imported past scores of a test",
    "imported_visit": "imported a past visit",
    "locked": "locked a session",
    "looked_into_stop": "looked into a stop",
    "made_link": "made a link to choose a passphrase",
    "opened_episode": "opened a stretch of care",
    "purged_patient": "purged a patient",
    "recorded_safety_event": "noted what followed a stop",
    "recorded_trial": "recorded a trial",
    "removed_pin": "removed a PIN",
    "reopened_episode": "reopened a stretch of care",
    "reopened_patient": "reopened a patient",
    "sent_held": "sent a form that was kept",
    "set_passphrase": "set a new passphrase",
    "set_pin": "set a PIN on a phone",
    "set_precaution": "set a precaution",
    "signed_in": "signed in",
    "signed_out": "signed out",
    "started_round": "began a test",
    "started_visit": "began a visit",
    "switched_off": "ended somebody's right to sign in",
    "switched_on": "let somebody sign in again",
    "unassigned": "took a patient off somebody's list",
    "unlocked": "unlocked a session",
    "used_link": "used a link",
    "voided_trial": "voided a trial",
    "wrote_profile": "wrote how a patient lives and manages",
}
SUBJECTS: Final = {
    "assignment": "an assignment",
    "cover": "a cover",
    "device": "a phone with a PIN",
    "episode": "a stretch of care",
    "held_request": "a form that was kept",
    "one_time_link": "a link",
    "patient": "a patient",
    "person": "somebody who works here",
    "precaution": "a precaution",
    "profile": "how a patient lives",
    "round": "a round of a test",
    "safety_event": "what followed a stop",
    "safety_seen": "a look into a stop",
    "sign_in": "a sign-in",
    "site": "the site",
    "trial": "a trial",
    "visit": "a visit",
}


def deed_words(deed: str) -> str:
    return DEEDS.get(deed, deed.replace("_", " "))


def subject_words(subject: str) -> str:
    return SUBJECTS.get(subject, subject.replace("_", " "))
