"""Figures of a running recorder as OpenMetrics text over HTTP, for whoever collects them.

A socket and a thread: the standard library's HTTP server would cost the recorder 5 MB.
"""

import socket
import threading
from collections.abc import Callable, Mapping

_CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
_MOST_REQUEST_BYTES = 8192
_PATIENCE_S = 2.0
_PREFIX = "linkfit_"

# name: (type, unit, help); OpenMetrics 1.0 wants the unit at the end of the name
FAMILIES: Mapping[str, tuple[str, str, str]] = {
    "received_bytes": ("counter", "bytes", "Bytes the interface received while watched."),
    "sent_bytes": ("counter", "bytes", "Bytes the interface sent while watched."),
    "test_cost_bytes": ("counter", "bytes", "Bytes that active tests cost."),
    "observed_seconds": ("counter", "seconds", "Seconds of interface counters committed."),
    "round_trip_seconds": ("gauge", "seconds", "Last round trip that came back."),
    "round_trips": ("counter", "", "Round trips probed."),
    "round_trips_lost": ("counter", "", "Round trips without an answer."),
    "last_commit_timestamp_seconds": ("gauge", "seconds", "When the store was last written."),
    "pending_seconds": ("gauge", "seconds", "Seconds observed that are not written yet."),
}


def exposition(values: Mapping[str, float]) -> str:
    """`values` by family name as OpenMetrics text; families without a value are left out."""
    lines = []
    for name, (kind, unit, about) in FAMILIES.items():
        if name not in values:
            continue
        lines.append(f"# TYPE {_PREFIX}{name} {kind}")
        if unit:
            lines.append(f"# UNIT {_PREFIX}{name} {unit}")
        lines.append(f"# HELP {_PREFIX}{name} {about}")
        suffix = "_total" if kind == "counter" else ""
        lines.append(f"{_PREFIX}{name}{suffix} {values[name]:.17g}")
    return "\n".join([*lines, "# EOF", ""])


class MetricsServer:
    """Answers GET /metrics until closed.

    Parameters
    ----------
    host, port
        Where to listen; port 0 takes any free one.
    values : callable
        What to tell at the moment of asking.

    Raises
    ------
    OSError
        If it cannot listen there.
    """

    def __init__(self, host: str, port: int, values: Callable[[], Mapping[str, float]]) -> None:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        self._values = values
        self._listener = socket.create_server((host, port), family=family)
        self.port = int(self._listener.getsockname()[1])
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop listening."""
        self._listener.shutdown(socket.SHUT_RDWR)  # wakes the thread that waits in accept
        self._listener.close()
        self._thread.join(_PATIENCE_S)

    def _serve(self) -> None:
        while True:
            try:
                asking, _ = self._listener.accept()
            except OSError:  # closed
                return
            with asking:
                asking.settimeout(_PATIENCE_S)
                try:
                    asking.sendall(self._answer(_request(asking)))
                except OSError:  # who asked went away, or said nothing in time
                    continue

    def _answer(self, request: bytes) -> bytes:
        words = request.split(b"\r\n", 1)[0].split()
        if len(words) != 3 or words[0] != b"GET":
            return _response("400 Bad Request", "text/plain", "expected GET /metrics\n")
        if words[1] != b"/metrics":
            return _response("404 Not Found", "text/plain", "expected /metrics\n")
        return _response("200 OK", _CONTENT_TYPE, exposition(self._values()))


def _request(asking: socket.socket) -> bytes:
    request = b""
    while b"\r\n\r\n" not in request and len(request) < _MOST_REQUEST_BYTES:
        piece = asking.recv(_MOST_REQUEST_BYTES)
        if not piece:
            break
        request += piece
    return request


def _response(status: str, content_type: str, text: str) -> bytes:
    body = text.encode()
    head = (
        f"HTTP/1.1 {status}\r\nContent-Type: {content_type}\r\nContent-Length: {len(body)}\r\n"
        "Connection: close\r\n\r\n"
    )
    return head.encode() + body
