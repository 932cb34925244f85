"""The failure-mode table: rates, grades, criticality."""
