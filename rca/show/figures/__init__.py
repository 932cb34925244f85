"""Figures, drawn with plotly and readable in grey."""
