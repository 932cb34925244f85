"""All findings as plain data, the one source of page and file."""
