"""Start a site far enough to bring its database up; started and killed by its test.

Argument 1 is the data folder, argument 2 the database's address.
"""

import sys
from pathlib import Path

from app.storage.database import make_engine, migrate


def main(data: str, url: str) -> None:
    engine = make_engine(url)
    print("upgrading", flush=True)
    migrate(engine, Path(data) / "backups")
    print("done", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
