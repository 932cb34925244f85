"""IN: from files to checked tables to lives. Draws nothing; only `files` opens files."""
