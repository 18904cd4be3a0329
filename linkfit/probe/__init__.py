"""Taking measurements: tests against a server, round trips, counters, the recorder."""
