"""One site behind two doors: plain HTTP for this machine, TLS for the network."""

import asyncio
import logging
import socket
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final

import uvicorn

from app.lan.keeper import Found, Keeper

log = logging.getLogger("tapeline.problems")
LOOK_EVERY_S: Final = 60
#: Who opens a connection and says nothing does not keep it.
HANDSHAKE_S: Final = 10


class TwoDoors(uvicorn.Server):
    """A server that also listens for TLS, and keeps its certificate good meanwhile."""

    def __init__(
        self,
        config: uvicorn.Config,
        secure: socket.socket,
        keeper: Keeper,
        find: Callable[[], Found],
    ) -> None:
        super().__init__(config)
        self.secure = secure
        self.keeper = keeper
        self.find = find
        self.looking: asyncio.Task[None] | None = None

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        loop = asyncio.get_running_loop()
        door = await loop.create_server(
            self._protocol,
            sock=self.secure,
            ssl=self.keeper.context,
            ssl_handshake_timeout=HANDSHAKE_S,
        )
        self.servers.append(door)
        self.looking = asyncio.create_task(self._keep_looking())

    def _protocol(self) -> asyncio.Protocol:
        """As uvicorn makes one for its own sockets, so that a stop waits for it too."""
        made: asyncio.Protocol = self.config.http_protocol_class(  # type: ignore[call-arg]
            config=self.config,
            server_state=self.server_state,
            app_state=self.lifespan.state,
        )
        return made

    async def _keep_looking(self) -> None:
        before: tuple[str, ...] = ()
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            try:
                found = await asyncio.to_thread(self.find)
                said = self.keeper.look(found, datetime.now(UTC))
            except Exception as fault:  # the certificate in use goes on
                why = fault.strerror if isinstance(fault, OSError) else ""
                if not why:
                    log.exception("the certificate could not be looked after")
                    why = "the site's log says where it failed"
                said = (f"The certificate could not be renewed: {why}.",)
            if said and said != before:
                print("\n".join(said), flush=True)
            before = said

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        if self.looking:
            self.looking.cancel()
        await super().shutdown(sockets)
