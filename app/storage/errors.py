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


class Unavailable(StorageProblem):
    """The database cannot be used just now; nothing is wrong with what was asked."""

    sentence = "The database cannot be used just now. Nothing was changed."


class NoRoom(Unavailable):
    """The disk under the database is full."""

    sentence = (
        "The disk that holds the database is full. Nothing was changed, and what is "
        "stored stays. Make room on it, then do this again."
    )


class CannotWrite(Unavailable):
    """The database, or its folder, may be read but not written, or not even opened."""

    sentence = (
        "The database cannot be opened and written by this user. Nothing was changed. "
        "See that the disk is not read-only, and that the folder and all files in it "
        "belong to who runs the site."
    )


class Busy(Unavailable):
    """Somebody else held the lock for longer than anybody waits."""

    sentence = (
        "Another program has kept the database busy for too long. Nothing was changed. "
        "Wait until it is done, or stop it, then do this again."
    )


class Away(Unavailable):
    """The database server does not answer, or went away in the middle."""

    sentence = (
        "The database server does not answer. See that it runs and can be reached, "
        "then do this again: what was already stored is not stored twice."
    )


class Damaged(Unavailable):
    """The file cannot be read as a database, or its disk fails."""

    sentence = (
        "The database file, or the disk under it, does not work as it should. Nothing "
        "was changed. Stop the site, keep a copy of its folder, run tapeline doctor, "
        "and restore a backup where it finds something broken."
    )
