"""What the server is told, however a site is served."""

from typing import Any

#: Seconds an open page may hold up a stop.
PATIENCE = 3
SERVING: dict[str, Any] = {
    "log_level": "warning",
    "access_log": False,  # the site's own log holds no query strings
    "server_header": False,
    # A proxy on this machine says who asked; no setting of the environment widens that.
    "forwarded_allow_ips": "127.0.0.1",
    "timeout_graceful_shutdown": PATIENCE,
}
