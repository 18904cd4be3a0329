import re
import socket

import pytest

from linkfit.probe.openmetrics import FAMILIES, MetricsServer, exposition


def asked(port, request):
    with socket.create_connection(("127.0.0.1", port), timeout=5) as asking:
        asking.sendall(request)
        answer = b""
        while piece := asking.recv(65536):
            answer += piece
    return answer.decode()


@pytest.fixture
def server():
    server = MetricsServer("127.0.0.1", 0, lambda: {"received_bytes": 2.0**40})
    yield server
    server.close()


def test_the_text_keeps_the_rules_of_openmetrics_1_0():
    # OpenMetrics 1.0 (the text now RFC draft), "Text Format": TYPE, UNIT, HELP, samples, # EOF;
    # counters end in _total, and a unit is the end of the family's name. Value from memory.
    text = exposition(dict.fromkeys(FAMILIES, 1.5))
    assert text.endswith("# EOF\n")
    for name, (kind, unit, _) in FAMILIES.items():
        assert not unit or name.endswith(f"_{unit}")
        sample = f"linkfit_{name}" + ("_total" if kind == "counter" else "")
        assert f"\n{sample} 1.5\n" in f"\n{text}"
        assert f"# TYPE linkfit_{name} {kind}\n" in text
    assert re.fullmatch(r"(#[^\n]+\n|linkfit_\w+ [\d.e+-]+\n)+", text)


def test_what_is_not_known_is_left_out():
    assert exposition({}) == "# EOF\n"


def test_it_answers_a_collector(server):
    answer = asked(server.port, b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n")
    assert answer.startswith("HTTP/1.1 200 OK\r\nContent-Type: application/openmetrics-text")
    assert "linkfit_received_bytes_total 1099511627776\n" in answer


@pytest.mark.parametrize(
    ("request_", "status"),
    [(b"GET / HTTP/1.1\r\n\r\n", "404"), (b"POST /metrics HTTP/1.1\r\n\r\n", "400"),
     (b"\xff" * 8192, "400"), (b"\r\n\r\n", "400")],
)  # fmt: skip
def test_all_else_is_refused_and_it_goes_on(server, request_, status):
    assert asked(server.port, request_).startswith(f"HTTP/1.1 {status}")
    assert "200 OK" in asked(server.port, b"GET /metrics HTTP/1.0\r\n\r\n")
