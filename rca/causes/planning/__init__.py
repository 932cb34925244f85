"""Parts needed, money, restoring or replacing."""
