"""One investigation: its structure, evidence, weighing, next test and review."""
