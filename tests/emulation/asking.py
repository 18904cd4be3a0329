"""Requests over one connection of real kernel TCP: the receiver asks for part after part."""

import select
import socket
import time
from collections import deque

from tests.emulation.link import FAR_ADDRESS, run_before_others
from tests.emulation.transfer import Transfer, in_own_thread, socket_in

_PORT = 5002
_BUFFER_BYTES = 16 * 2**20
_SO_SNDBUFFORCE, _SO_RCVBUFFORCE = 32, 33  # <asm-generic/socket.h>
_MOST_S = 60.0


def timed_requests(link, item_bytes, *, n_requests, n_parallel, gap_s, congestion):
    """Time from connect() to the receipt of the last part; one byte asks for another part.

    The sender has `n_parallel` parts from the start. The receiver answers a part `gap_s` after
    its last byte.
    """

    def run():
        run_before_others(priority=1)
        listener = socket_in(link.far)
        sender = socket_in(link.near)
        with listener, sender:
            sender.setsockopt(socket.IPPROTO_TCP, socket.TCP_CONGESTION, congestion.encode())
            sender.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            sender.setsockopt(socket.SOL_SOCKET, _SO_SNDBUFFORCE, _BUFFER_BYTES)
            listener.setsockopt(socket.SOL_SOCKET, _SO_RCVBUFFORCE, _BUFFER_BYTES)
            listener.bind((FAR_ADDRESS, _PORT))
            listener.listen()
            start_s = time.monotonic()
            sender.connect_ex((FAR_ADDRESS, _PORT))
            _wait([sender], writing=True)
            _send(sender, item_bytes * n_parallel)
            _wait([listener])
            receiver, _ = listener.accept()
            with receiver:
                receiver.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                _serve(sender, receiver, item_bytes, n_requests, n_parallel, gap_s)
            return Transfer(
                start_s=start_s - link.zero_s, duration_s=time.monotonic() - start_s,
                n_repeated=0, mss_bytes=0,
            )  # fmt: skip

    return in_own_thread(run)


def _serve(sender, receiver, item_bytes, n_requests, n_parallel, gap_s):
    """Pass parts and requests back and forth until the last part has been asked past."""
    received = n_whole = n_answered = 0
    n_asked = n_parallel
    due_s = deque()
    while n_answered < n_requests:
        now_s = time.monotonic()
        while due_s and due_s[0] <= now_s:
            due_s.popleft()
            receiver.send(b".")
        wait_s = due_s[0] - now_s if due_s else _MOST_S
        ready = _wait([sender, receiver], timeout_s=max(wait_s, 0.0), may_pass=bool(due_s))
        if receiver in ready:
            received += len(receiver.recv(_BUFFER_BYTES))
            n_new = received // item_bytes - n_whole
            n_whole += n_new
            # nothing is waited for after the last parts
            due_s.extend(
                time.monotonic() + (gap_s if n_whole - i <= n_requests - n_parallel else 0.0)
                for i in reversed(range(n_new))
            )
        if sender in ready:
            n_more = len(sender.recv(n_requests))
            n_answered += n_more
            n_send = min(n_more, n_requests - n_asked)
            n_asked += n_send
            if n_send:
                _send(sender, item_bytes * n_send)


def _send(sender, n_bytes):
    sent = sender.send(bytes(n_bytes))
    if sent < n_bytes:
        raise OSError(f"the send buffer took {sent} of {n_bytes} bytes")


def _wait(sockets, *, writing=False, timeout_s=_MOST_S, may_pass=False):
    read, written, _ = select.select(
        [] if writing else sockets, sockets if writing else [], [], timeout_s
    )
    if not (read or written or may_pass):
        raise TimeoutError(f"nothing came for {timeout_s:g} s")
    return read or written
