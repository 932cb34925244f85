"""What comes before the failures, and what goes with them."""
