"""HOW: how parts fail. Numbers in, numbers out: numpy and scipy only, no files, no drawing."""
