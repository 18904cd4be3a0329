"""What the link is like: families, dependence, latency; LinkModel and CapacityPaths."""
