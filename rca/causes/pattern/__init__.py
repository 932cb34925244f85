"""What pattern the failures have."""
