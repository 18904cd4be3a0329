from linkfit.ingest.trace import Finding, LatencySamples, Repair, Source, Trace


def test_each_direction_has_its_rates():
    trace = Trace.merge([Trace.from_rates([1e6, 2e6, 3e6]), Trace.from_transfers([1e6], [2.0])])
    text = trace._repr_html_()
    assert '<th scope="row">rates, link up</th><td>3</td><td>3.0 s</td>' in text
    assert "<td>2.00 Mbit/s</td>" in text
    assert '<th scope="row">transfers, link up</th><td>1</td><td>2.0 s</td>' in text
    assert "link down" not in text
    assert "Trace from 2 sources" in text


def test_lost_probes_are_counted_and_said():
    latency = LatencySamples(
        time_s=[0, 1], rtt_s=[0.05, float("inf")], spread_s=[0, 0], n_probes=[1, 1], n_lost=[0, 1],
        loaded=[False, False], source=[0, 0],
    )  # fmt: skip
    text = Trace(latency=latency)._repr_html_()
    assert "<td>2</td><td>50 % lost</td><td>50 ms</td><td>50 ms</td><td>lost</td>" in text


def test_sources_repairs_and_findings_are_told_and_harmless():
    bad = "<script>\u202e"
    trace = Trace(
        sources=tuple(Source(name=bad, format="x") for _ in range(7)),
        repairs=(Repair(source="a", kind="k", n_samples=1, text="rows sorted"),),
        findings=(Finding(source="a", kind="k", n_samples=1, text=bad),),
    )
    text = trace._repr_html_()
    assert "<script" not in text
    assert "\u202e" not in text
    assert "and 2 more" in text
    assert "<li>repaired: rows sorted</li>" in text
    assert "<li>mind: &lt;script&gt;" in text


def test_an_empty_trace_is_a_table_without_rows():
    assert "<tbody></tbody>" in Trace()._repr_html_()
