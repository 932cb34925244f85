"""IN: from files to checked tables to lives. Draws nothing; only `files.py` opens files."""
