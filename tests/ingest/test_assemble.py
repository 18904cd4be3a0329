import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import TraceError
from linkfit.ingest.assemble import TableHead, assemble
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.trace import Source


def assembled(chunks, *, names=("t_s", "up_bps", "server"), rows=(("0", "1", "ridge"),)):
    notes = Notes("f")
    return assemble(
        TableHead(names=names, rows=rows),
        lambda _plan: chunks,
        ReadOptions(),
        notes,
        Source(name="f", format="test"),
    )


def frame(t_s, up_bps, server):
    return pd.DataFrame(
        {0: np.array(t_s, float), 1: np.array(up_bps, float), 2: pd.Series(server, dtype="str")}
    )


def test_chunks_of_any_origin_become_one_trace():
    trace = assembled([frame([0, 1], [5, 6], ["ridge"] * 2), frame([2], [7], ["ridge"])])
    assert_allclose(trace.throughput.rates_bps, [5, 6, 7])
    assert trace.sources[0].peer == "ridge"
    assert not trace.sources[0].has_clock


def test_several_far_ends_are_said_and_none_is_chosen():
    trace = assembled([frame([0, 1], [5, 6], ["ridge", "valley"])])
    assert trace.sources[0].peer == ""
    assert "several peers" in {f.kind for f in trace.findings}


def test_problems_of_the_rows_are_raised_after_the_last():
    def chunks():
        yield frame([0], [5], ["ridge"])

    notes = Notes("f")
    notes.problem("f:9: expected a number, got 'x'")
    with pytest.raises(TraceError, match="f:9: expected a number, got 'x'"):
        assemble(
            TableHead(names=("t_s", "up_bps", "server"), rows=(("0", "1", "a"),)),
            lambda _plan: chunks(),
            ReadOptions(step_s=1.0),
            notes,
            Source(name="f", format="test"),
        )
