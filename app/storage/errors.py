"""What storage refuses, each with the sentence a person is told."""


class StorageProblem(Exception):
    """Something that was not done. `sentence` says what happened and what was kept."""

    sentence = "This could not be stored. Nothing was changed."

    def __init__(self, sentence: str = "") -> None:
        self.sentence = sentence or self.sentence
        super().__init__(self.sentence)


class NotFound(StorageProblem):
    """Not there, or not for this person to see: the two look the same."""

    sentence = "This does not exist, or it is not one you may see."


class NotAllowed(StorageProblem):
    """They may see it, but not do this to it."""

    sentence = "Your role does not allow this. Nothing was changed."


class SameIdOtherBody(StorageProblem):
    """An id that was already used for something else."""

    sentence = (
        "Something else is already stored under this entry's id. "
        "It was left as it is, and this entry was not stored."
    )


class StaleVersion(StorageProblem):
    """An edit of a version that somebody else has changed since."""

    sentence = (
        "Somebody else changed this after you opened it. Their change was kept and "
        "yours was not stored: compare the two, then save again."
    )


class HandleTaken(StorageProblem):
    """Two people cannot sign in under one handle."""

    sentence = "Somebody already has this handle. Choose another; nobody was added."


class SchemaTooNew(StorageProblem):
    """The database belongs to a newer version of the program."""

    sentence = (
        "The database was made by a newer version of Tapeline. Nothing was changed. "
        "Start that version, or restore a backup made before it."
    )


class NotSound(StorageProblem):
    """The database cannot be trusted to keep what it is given."""


class ReadOnly(Exception):
    """A fault of the program: it tried to change something while only reading."""
