"""The class exercise: a hidden cause for each student, clues at a price, and a fair mark."""
