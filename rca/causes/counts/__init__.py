"""What fails, how often, again and again, at what cost, and on which units."""
