"""WHY: causes with evidence, what comes before, and whether a fix worked. No files, no drawing."""
