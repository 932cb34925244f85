"""What changed since the last report, and why."""
