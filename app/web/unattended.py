"""Ways to the server that say nothing of whether a person is there."""

from typing import Final

#: What a locked session may still do. A trial in progress must never be lost, and both
#: phones of one hear how its clock stands, without a name.
LOCKED_MAY: Final = frozenset(
    {
        ("POST", "/rounds/{round_id}/trials"),
        ("POST", "/rounds/{round_id}/help/presses"),
        ("GET", "/rounds/{round_id}/help/now"),
        ("POST", "/patients/{patient_id}/activities/{activity_id}/sets"),
        ("POST", "/lock"),
        ("POST", "/unlock"),
        ("POST", "/sign-out"),
    }
)
#: What an open page asks by itself, some of it again and again: no use of the session.
POLLED: Final = frozenset(
    {
        ("GET", "/rounds/{round_id}/help/now"),
        ("GET", "/caseload/import/progress"),
        ("GET", "/exports/left-out"),
        ("POST", "/audit/check"),
    }
)
