"""Files sent as one archive while they are made: a large site has no wait."""

import io
import zipfile
from collections.abc import Iterator
from typing import Final

from fastapi.responses import StreamingResponse

#: The same files make the same archive: none of them says when it was made.
NO_TIME: Final = (1980, 1, 1, 0, 0, 0)


def archived(members: Iterator[tuple[str, Iterator[str]]]) -> Iterator[bytes]:
    """The bytes of a ZIP archive of text files, a little at a time."""
    sink = _Sink()
    with zipfile.ZipFile(sink, "w") as archive:
        for name, lines in members:
            entry = zipfile.ZipInfo(name, NO_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o600 << 16
            with archive.open(entry, "w", force_zip64=True) as file:
                for line in lines:
                    file.write(line.encode())
                    yield from sink.taken()
    yield from sink.taken()


def sent(content: Iterator[bytes], name: str) -> StreamingResponse:
    """An archive as a file of that name, sent while it is made."""
    return StreamingResponse(
        content,
        media_type="application/zip",
        headers={"content-disposition": f'attachment; filename="{name}.zip"'},
    )


class _Sink(io.RawIOBase):
    """Where the archive is written to, a little at a time."""

    def __init__(self) -> None:
        self.held: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, part: object) -> int:
        made = bytes(part)  # type: ignore[call-overload]  # any buffer
        self.held.append(made)
        return len(made)

    def taken(self) -> Iterator[bytes]:
        held, self.held = self.held, []
        if held:
            yield b"".join(held)
