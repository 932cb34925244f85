"""Reports made unattended: one run, many runs, their folders, lock and manifest."""
