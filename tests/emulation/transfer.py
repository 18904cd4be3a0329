"""Transfers of real kernel TCP over an emulated link, timed from connect() to the answer."""

import os
import selectors
import socket
import struct
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from pathlib import Path

from tests.emulation.link import FAR_ADDRESS, enter_namespace, run_before_others

_PORT = 5001
_BUFFER_BYTES = 16 * 2**20  # more than any payload here: the application never holds TCP up
_SO_SNDBUFFORCE, _SO_RCVBUFFORCE = 32, 33  # <asm-generic/socket.h>: past the system's limit
_MOST_S = 60.0
_ANSWER = b"."
_MSS_AT, _REPEATED_AT = 16, 100  # of 32 bits each in struct tcp_info, <linux/tcp.h>


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """One measured transfer; `start_s` in the time of the link's trace."""

    start_s: float
    duration_s: float
    n_repeated: int
    mss_bytes: int


def congestion_controls():
    """What this kernel offers the sender to choose from."""
    return Path("/proc/sys/net/ipv4/tcp_available_congestion_control").read_text().split()


def in_own_thread(function):
    """Call it in a thread that may enter namespaces and raise its priority, and then ends."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(function).result()


def socket_in(namespace, kind=socket.SOCK_STREAM):
    """A non-blocking socket; it stays in the namespace in which it is made."""
    enter_namespace(namespace)
    made = socket.socket(socket.AF_INET, kind)
    made.setblocking(False)
    return made


def timed_transfer(link, size_bytes, *, congestion, n_flows=1):
    """Send `size_bytes` from near to far, split evenly over connections opened at once.

    It ends with the last flow's answer of one byte, sent when the receiver has read all of it.
    """
    edges = [size_bytes * i // n_flows for i in range(n_flows + 1)]
    shares_bytes = [high - low for low, high in pairwise(edges)]

    def run():
        with _Pair() as pair:
            return pair.run(link, shares_bytes, congestion)

    return in_own_thread(run)


class _Pair(ExitStack):
    """Sender and receiver of one transfer, woken by the sockets that are ready."""

    def __enter__(self):
        super().__enter__()
        self.selector = self.enter_context(selectors.DefaultSelector())
        self.n_open = 0
        self.n_repeated = 0
        self.mss_bytes = 0
        self.missing_bytes = {}  # by the sender's port
        return self

    def run(self, link, shares_bytes, congestion):
        run_before_others(priority=1)
        senders = [self._sender(link.near, congestion) for _ in shares_bytes]
        self._listen(link.far)
        start_s = time.monotonic()
        for sender, share in zip(senders, shares_bytes, strict=True):
            sender.connect_ex((FAR_ADDRESS, _PORT))
            self.missing_bytes[sender.getsockname()[1]] = share
            send = partial(self._send, memoryview(bytes(share)))
            self.selector.register(sender, selectors.EVENT_WRITE, send)
        self.n_open = len(senders)
        while self.n_open:
            ready = self.selector.select(timeout=start_s + _MOST_S - time.monotonic())
            if not ready:
                raise TimeoutError(f"transfer of {sum(shares_bytes)} bytes: over {_MOST_S:g} s")
            for key, _ in ready:
                key.data(key.fileobj)
        return Transfer(
            start_s=start_s - link.zero_s,
            duration_s=time.monotonic() - start_s,
            n_repeated=self.n_repeated,
            mss_bytes=self.mss_bytes,
        )

    def _sender(self, namespace, congestion):
        sender = self.enter_context(socket_in(namespace))
        sender.setsockopt(socket.IPPROTO_TCP, socket.TCP_CONGESTION, congestion.encode())
        sender.setsockopt(socket.SOL_SOCKET, _SO_SNDBUFFORCE, _BUFFER_BYTES)
        return sender

    def _listen(self, namespace):
        listener = self.enter_context(socket_in(namespace))
        listener.setsockopt(socket.SOL_SOCKET, _SO_RCVBUFFORCE, _BUFFER_BYTES)
        listener.bind((FAR_ADDRESS, _PORT))
        listener.listen()
        self.selector.register(listener, selectors.EVENT_READ, self._accept)

    def _accept(self, listener):
        receiver, (_, port) = listener.accept()
        self.enter_context(receiver)
        receiver.setblocking(False)
        self.selector.register(receiver, selectors.EVENT_READ, partial(self._receive, port))

    def _send(self, payload, sender):
        error = sender.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if error:
            raise OSError(error, os.strerror(error))
        rest = payload[sender.send(payload) :]
        if rest:
            self.selector.modify(sender, selectors.EVENT_WRITE, partial(self._send, rest))
        else:
            self.selector.modify(sender, selectors.EVENT_READ, self._answered)

    def _receive(self, port, receiver):
        self.missing_bytes[port] -= len(receiver.recv(_BUFFER_BYTES))
        if self.missing_bytes[port] == 0:
            self.selector.unregister(receiver)
            receiver.send(_ANSWER)

    def _answered(self, sender):
        if sender.recv(2) != _ANSWER:
            raise ConnectionError("expected the one byte of the answer")
        info = sender.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, _REPEATED_AT + 4)
        self.n_repeated += struct.unpack_from("I", info, _REPEATED_AT)[0]
        self.mss_bytes = struct.unpack_from("I", info, _MSS_AT)[0]
        self.selector.unregister(sender)
        self.n_open -= 1
