"""The plan's three ways to go on after the cap, and units of the other tables."""

from linkfit.site.place_entries import AfterCap, PathEntry, PlanEntry, PowerEntry


def test_after_cap_is_one_of_three():
    plans = [PlanEntry(after_cap=v) for v in ("stop", "1 Mbit/s", {"price_per_GB": 4})]
    assert [plan.after_cap for plan in plans] == [
        AfterCap(), AfterCap(throttle_bps=1e6), AfterCap(price_per_gb=4.0),
    ]  # fmt: skip


def test_values_are_si():
    path = PathEntry(relay_rtt="18 ms", tunnel_overhead="60 B", body_limit="100 MB", mtu="1.4 kB")
    assert (path.relay_rtt, path.tunnel_overhead) == (0.018, 60)
    assert (path.body_limit, path.mtu) == (100e6, 1400)
    power = PowerEntry(battery="0.64 kWh", load="900 mW")
    assert (power.battery, power.load, power.usable) == (640, 0.9, 0.85)
