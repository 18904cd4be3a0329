"""What will happen: transfers, sharing, data use, backlogs, all over CapacityPaths."""
