"""The passphrase asked for again, for deeds that need more than an open session.

Signing, co-signing, exporting and purging carry it in their own form. On the demo site
nobody has one, so nothing is asked there.
"""

from typing import Annotated, Final

from fastapi import Depends

from app.storage import people
from app.storage.database import read_session
from app.web.deps import FormDep, SignedIn, SiteDep

#: What a form says beside its passphrase field.
NOT_YOURS: Final = "That is not your passphrase. Type it again."


def own_passphrase(me: SignedIn, form: FormDep, site: SiteDep) -> bool:
    """Whether the form's `passphrase` is that of who is signed in; True in the demo."""
    if site.settings.demo:
        return True
    typed = form.get("passphrase", "")
    with read_session(site.engine) as session:
        return people.check_passphrase(session, me.handle, typed) is not None


#: Hashing takes memory and a core on purpose, so few run at a time. Ask for it before
#: the writing session, so that nobody waits for the hashing while the lock is held.
OwnPassphrase = Annotated[bool, Depends(own_passphrase, max_concurrency=2)]
