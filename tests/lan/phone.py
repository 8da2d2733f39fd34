"""A phone on another machine of the network: asks, and prints what it got as JSON.

Run by itself inside a network namespace; the standard library only.
"""

import http.client
import json
import socket
import ssl
import sys
from typing import Any


class Towards(http.client.HTTPSConnection):
    """TLS to an address under a name, as after looking the name up."""

    def __init__(self, name: str, address: str, port: int, trust: str | None) -> None:
        context = ssl.create_default_context(cafile=trust)
        super().__init__(name, port, timeout=20, context=context)
        self.address, self.secured = address, context

    def connect(self) -> None:
        plain = socket.create_connection((self.address, self.port), 20)
        self.sock = self.secured.wrap_socket(plain, server_hostname=self.host)


def ask(wish: dict[str, Any]) -> dict[str, Any]:
    """One request; a refusal by TLS is an answer too."""
    name, address, port = wish["name"], wish["address"], wish["port"]
    connection: http.client.HTTPConnection
    if wish["tls"]:
        connection = Towards(name, address, port, wish.get("trust"))
    else:
        connection = http.client.HTTPConnection(address, port, timeout=20)
    head = {"Host": f"{name}:{port}", **wish.get("head", {})}
    try:
        connection.request(
            wish.get("method", "GET"), wish["path"], wish.get("body"), head
        )
        got = connection.getresponse()
        body = got.read().decode("latin-1")
        return {"status": got.status, "head": dict(got.getheaders()), "body": body}
    except ssl.SSLCertVerificationError as refused:
        return {"refused": refused.verify_message}
    finally:
        connection.close()


if __name__ == "__main__":
    print(json.dumps([ask(wish) for wish in json.load(sys.stdin)]))
