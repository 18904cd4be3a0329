"""One test by libiperf, in a process of its own: ``python -m linkfit.probe.iperf_child SPEC OUT``.

The iperf3 package's own run() writes into a pipe that nobody reads, redirects the output of the
whole process, cannot be interrupted and closes descriptors of others when it is collected. So the
library is called directly here, in a process that does one test and ends at once: fd 1 goes to the
file OUT, the test runs in a thread, and SIGTERM makes libiperf write what was measured so far.

SPEC is the JSON of a `linkfit.probe.iperf_test.TestOrder`. Standard library and iperf3 only.
"""

import ctypes
import json
import os
import signal
import sys
import threading
from pathlib import Path
from typing import Any

_UDP_PROTOCOL = 2  # SOCK_DGRAM, as libiperf's set_protocol takes it
_PR_SET_PDEATHSIG = 1  # linux/prctl.h
_INTERVAL_S = 1.0  # one row a second, as tables of rates usually have


def _with_types(lib: Any) -> Any:
    """The library with the argument types that ctypes cannot know."""
    pointer, number, text = ctypes.c_void_p, ctypes.c_int, ctypes.c_char_p
    takes = {
        "iperf_defaults": (pointer,),
        "iperf_set_test_role": (pointer, ctypes.c_char),
        "iperf_set_test_server_hostname": (pointer, text),
        "iperf_set_test_server_port": (pointer, number),
        "iperf_set_test_json_output": (pointer, number),
        "iperf_set_test_reverse": (pointer, number),
        "iperf_set_test_num_streams": (pointer, number),
        "iperf_set_test_duration": (pointer, number),
        "iperf_set_test_bytes": (pointer, ctypes.c_uint64),
        "iperf_set_test_rate": (pointer, ctypes.c_uint64),
        "iperf_set_test_blksize": (pointer, number),
        "iperf_set_test_connect_timeout": (pointer, number),
        "iperf_set_test_get_server_output": (pointer, number),
        "iperf_set_test_stats_interval": (pointer, ctypes.c_double),
        "iperf_set_test_reporter_interval": (pointer, ctypes.c_double),
        "set_protocol": (pointer, number),
        "iperf_run_client": (pointer,),
        "iperf_got_sigend": (pointer,),
    }
    for name, types in takes.items():
        getattr(lib, name).argtypes = types
    lib.iperf_new_test.restype = pointer
    lib.iperf_get_test_json_output_string.argtypes = (pointer,)
    lib.iperf_get_test_json_output_string.restype = text
    lib.iperf_strerror.restype = text
    return lib


def _set_up(lib: Any, spec: dict[str, Any]) -> Any:
    """A test of libiperf as `spec` asks for it; ends at its duration or its bytes, at the first."""
    test = lib.iperf_new_test()
    if not test:
        raise MemoryError("libiperf made no test")
    lib.iperf_defaults(test)
    lib.iperf_set_test_role(test, b"c")
    lib.iperf_set_test_server_hostname(test, spec["host"].encode())
    lib.iperf_set_test_server_port(test, spec["port"])
    lib.iperf_set_test_json_output(test, 1)
    lib.iperf_set_test_get_server_output(test, 1)  # it says which address it saw
    lib.iperf_set_test_stats_interval(test, _INTERVAL_S)
    lib.iperf_set_test_reporter_interval(test, _INTERVAL_S)
    lib.iperf_set_test_connect_timeout(test, int(spec["connect_timeout_s"] * 1000))
    if spec["udp_rate_bps"] is not None:
        lib.set_protocol(test, _UDP_PROTOCOL)
        lib.iperf_set_test_rate(test, int(spec["udp_rate_bps"]))
    lib.iperf_set_test_blksize(test, spec["block_bytes"])
    lib.iperf_set_test_reverse(test, 0 if spec["is_up"] else 1)
    lib.iperf_set_test_num_streams(test, spec["n_streams"])
    lib.iperf_set_test_duration(test, spec["duration_s"])
    lib.iperf_set_test_bytes(test, spec["most_payload_bytes"])
    return test


def _write_whole(path: Path, text: str) -> None:
    """`text` in `path`, or nothing of it."""
    part = path.with_name(path.name + ".part")
    part.write_text(text)
    part.replace(path)


def _end_with_parent() -> None:
    """Ask the kernel to end this process when its parent is killed: nobody watches it then."""
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)


def main(spec_text: str, out: Path) -> None:
    """Run the test that `spec_text` orders and leave its report in `out`; never returns."""
    _end_with_parent()
    spoken = os.open(out.with_name(out.name + ".spoken"), os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(spoken, 1)  # libiperf prints its report here as well; nothing may reach the caller's
    try:
        import iperf3

        package = iperf3.IPerf3("c")  # kept to the end: collecting it closes a descriptor
        lib = _with_types(package.lib)
        test = _set_up(lib, json.loads(spec_text))
    except (OSError, AttributeError) as error:  # no library, or one too old to be ordered
        _write_whole(out, json.dumps({"linkfit_no_library": str(error)}))
        os._exit(0)
    signal.signal(signal.SIGTERM, lambda *_: lib.iperf_got_sigend(test))
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    runner = threading.Thread(target=lib.iperf_run_client, args=(test,), daemon=True)
    runner.start()
    while runner.is_alive():
        runner.join(0.05)
    said = lib.iperf_get_test_json_output_string(test)
    text = said.decode(errors="replace") if said else ""
    if not text:
        problem = lib.iperf_strerror(ctypes.c_int.in_dll(lib, "i_errno"))
        text = json.dumps({"error": (problem or b"no report").decode(errors="replace")})
    _write_whole(out, text)
    os._exit(0)  # the package's __del__ closes descriptors it does not own


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
