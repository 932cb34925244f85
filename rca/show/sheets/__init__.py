"""Sheets and tables to print: bench, case, failure modes."""
