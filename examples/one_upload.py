"""How long does an upload take, and how sure is that? From three numbers of one speed test."""

import linkfit as lf


def main() -> None:
    trace = lf.Trace.from_quick_numbers(down_bps=24e6, up_bps=6e6, rtt_s=0.055)
    link = lf.fit_link(trace, seed=0)
    for size_bytes in (0.5e6, 5e6, 50e6):
        time = lf.predict_transfer(link, size_bytes=size_bytes, direction="up", seed=0)
        p05_s, p50_s, p95_s = time.quantile([0.05, 0.5, 0.95])
        low_s, high_s = time.quantile_interval(0.95)
        print(
            f"{size_bytes / 1e6:5.1f} MB up: median {p50_s:6.1f} s, 90 % {p05_s:.1f} to "
            f"{p95_s:.1f} s; the 95th percentile itself lies in {low_s:.1f} to {high_s:.1f} s"
        )


if __name__ == "__main__":
    main()
