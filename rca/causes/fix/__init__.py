"""Has a fix worked: the verdict, what it rests on, and what a plan will take."""
