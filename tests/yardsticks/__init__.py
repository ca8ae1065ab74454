"""Slow or plain ways to choose leaves, to hold the real one against."""
