"""The passphrase asked for again, for deeds that need more than an open session.

Signing, co-signing, exporting and purging carry it in their own form. On the demo site
nobody has one, so nothing is asked there.
"""

from typing import Annotated, Final

from fastapi import Depends, Request

from app.web.deps import FormDep, Now, SignedIn, SiteDep
from app.web.guessing import MustWait, when_signed_in, whose

#: What a form says beside its passphrase field.
NOT_YOURS: Final = "That is not your passphrase. Type it again."
NOT_TYPED: Final = "Type your passphrase: this needs it again."


def own_passphrase(
    request: Request, me: SignedIn, form: FormDep, site: SiteDep, now: Now
) -> str:
    """What is wrong with the form's `passphrase`; empty when it is theirs."""
    if site.settings.demo:
        return ""
    typed = form.get("passphrase", "")
    if not typed:
        return NOT_TYPED
    try:
        person = whose(request, when_signed_in(request), me.handle, typed, now)
    except MustWait as wait:
        return wait.sentence
    return "" if person else NOT_YOURS


#: Hashing takes memory and a core on purpose, so few run at a time. Ask for it before
#: the writing session, so that nobody waits for the hashing while the lock is held.
PassphraseFault = Annotated[str, Depends(own_passphrase, max_concurrency=2)]
